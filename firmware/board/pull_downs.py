"""Whether resistors outside hold the release pins low. Imported when it is asked for."""

import time

from machine import Pin, mem32
from micropython import const

from . import safe
from .registers import GPIO_IN

_PULLED_MS = const(1)  # 80 kOhm charge what hangs on a pin in a twentieth of that
# The function of each pin: its control register, and the number of the PIO block of the releases. Both datasheets.
PIN_BASES = {"RP2040": 0x40014000, "RP2350": 0x40028000}
_PIN_CTRL = const(0x04)
_PIN_STRIDE = const(8)
_RELEASES_FUNCTION = const(7)


def held(chip):
    """Bit mask of the outputs that something outside holds low (half_a=1, full_a=2, half_b=4, full_b=8).

    Every output is open before and after; in between each pin is an input with the chip's pull-up (50 kOhm at the
    least), which lights no isolator.
    """
    try:
        for gpio in safe.RELEASE_GPIOS:
            Pin(gpio, Pin.IN, Pin.PULL_UP)
        time.sleep_ms(_PULLED_MS)
        found = ~(mem32[GPIO_IN] >> safe.RELEASE_GPIOS[0]) & 15
    finally:
        safe.open_outputs()
    # Driven open by SIO and, its machines at their end, by PIO too: no pin moves on the way back.
    for gpio in safe.RELEASE_GPIOS:
        mem32[PIN_BASES[chip] + _PIN_STRIDE * gpio + _PIN_CTRL] = _RELEASES_FUNCTION
    return found
