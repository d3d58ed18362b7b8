from machine import Pin

for gpio in (2, 3, 4, 5):
    Pin(gpio, Pin.OUT, value=0)

# The release outputs are open before anything else; why, says board/safe.py.
