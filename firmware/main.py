"""Starts the box: outputs open, then the loop; whatever goes wrong, outputs open.

Hold 'preset' while plugging in for the rescue mode: nothing runs, outputs are open, both LEDs are lit and
the files can be reached over USB. The host may ask for it too, for one restart.
"""

from board import safe

safe.open_outputs()

import sys  # noqa: E402
import time  # noqa: E402

import machine  # noqa: E402
import micropython  # noqa: E402

# Ctrl-C is a byte like any other from here on: a stray one must not stop the box.
micropython.kbd_intr(-1)

from app import pins  # noqa: E402
from board import registers  # noqa: E402

MANY_CRASHES = 5
SHORT_LIFE_MS = 30000
RESTART_WAIT_MS = 1000
CTRL_C = 3
CRASHES = "main.crashes"  # one byte a crash in a row; gone after a long enough life


def lit(name):
    return machine.Pin(pins.gpio_of(name), machine.Pin.OUT, value=1)


def rescue(why):
    """Leaves the interpreter to whoever is on the USB line, with the outputs open."""
    safe.open_outputs()
    registers.stop_watchdog(registers.chip_name())
    micropython.kbd_intr(CTRL_C)
    lit("led_ok")
    lit("led_out")
    print("coincide: rescue mode, outputs open:", why)


def rescue_wanted():
    held = machine.Pin(pins.gpio_of("preset"), machine.Pin.IN, machine.Pin.PULL_UP)
    time.sleep_ms(2)
    return held.value() == pins.active_level_of("preset")


def version_supported():
    from board.pico import LEAST_MICROPYTHON

    return tuple(sys.implementation.version[:2]) >= LEAST_MICROPYTHON


def run(board):
    """The loop. Only an exception ends it."""
    from app.box import Box

    box = Box(board)
    forgiven = False
    board.start_watchdog()
    while True:
        board.feed_watchdog()
        board.idle(box.step())
        if not forgiven and board.millis() > SHORT_LIFE_MS:
            board.files.remove(CRASHES)
            forgiven = True


def keep_crash(board, error):
    """The crash record; returns how many crashes in a row there have been."""
    try:
        from app.crash import CrashRecord

        CrashRecord(board.files).keep(error, 0, board.millis(), "main loop")
        board.files.append(CRASHES, b"x")
        return board.files.size(CRASHES)
    except Exception:  # noqa: BLE001  a crash that cannot be written down is no second crash
        return MANY_CRASHES


def main():
    if rescue_wanted():
        rescue("'preset' was held.")
        return
    if registers.rescue_was_asked(registers.chip_name()):
        rescue("the host asked for it; the next start is an ordinary one.")
        return
    if not version_supported():
        rescue("this MicroPython is too old; install 1.24 or newer.")
        return
    board = None
    try:
        from board.pico import Board

        board = Board()
        run(board)
    except BaseException as error:
        safe.open_outputs()
        if board is None:
            rescue("the board did not start.")
            raise
        board.close()
        lit("led_out")
        crashes = keep_crash(board, error)
        if crashes < MANY_CRASHES:
            time.sleep_ms(RESTART_WAIT_MS)
            board.reset()
        while True:
            # The same crash again and again: stay, open and lit, until 'preset' is held or power cycled.
            board.feed_watchdog()
            time.sleep_ms(100)
            if rescue_wanted():
                board.reset()


main()
