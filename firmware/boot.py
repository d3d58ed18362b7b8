from machine import Pin

for gpio in (2, 3, 4, 5):
    Pin(gpio, Pin.OUT, value=0)

# The lines above open the release outputs before anything else: a soft reset leaves them as PIO last had
# them. Before that, through power-on, reset and boot-loader, the pins float with the chip's weak
# pull-downs, which RP2350 does not hold reliably (its erratum on pull-downs): resistors of 8.2 kOhm or
# less to ground at each isolator's input keep them off.
