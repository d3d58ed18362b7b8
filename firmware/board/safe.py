"""The last resort, with nothing to break: takes the four release pins away from PIO and drives them open.

boot.py does the same before anything else, without an import: a soft reset leaves the pins as PIO last had them.
Before that, through power-on, reset and boot-loader, they float with the chip's weak pull-downs, which RP2350 does
not hold reliably (its erratum on pull-downs): resistors of 8.2 kOhm or less to ground at each isolator's input keep
them off.
"""

from machine import Pin

RELEASE_GPIOS = (2, 3, 4, 5)


def open_outputs():
    """All release outputs open, whatever had them before. Needs no board object."""
    for gpio in RELEASE_GPIOS:
        Pin(gpio, Pin.OUT, value=0)
