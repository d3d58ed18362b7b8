"""Starts the box: the large pieces of memory, then the modules, then the loop; whatever goes wrong, outputs open.

Hold 'preset' while plugging in for the rescue mode: nothing runs, outputs are open, both LEDs are lit and
the files can be reached over USB. The host may ask for it too, for one restart.
"""

import gc
import sys
import time

import machine
import micropython

from . import safe

# Ctrl-C is a byte like any other from here on: a stray one must not stop the box.
micropython.kbd_intr(-1)

from app import pins  # noqa: E402
from micropython import const  # noqa: E402

from . import registers  # noqa: E402

# While modules are imported garbage is collected this often, so that none comes to lie between what stays.
_COLLECT_EVERY_BYTES = const(8192)
# And this often from then on: a collection takes some milliseconds, whatever there is to collect; yet what is stored
# in the course of a day must come to lie low, so that one large piece stays free.
_COLLECT_AT_WORK_BYTES = const(16384)
_MANY_CRASHES = const(5)
_SHORT_LIFE_MS = const(30000)
_RESTART_WAIT_MS = const(1000)
_CTRL_C = const(3)
_EVENTS_BYTES = const(8192)
CRASHES = "main.crashes"  # one byte a crash in a row; gone after a long enough life


def lit(name):
    return machine.Pin(pins.gpio_of(name), machine.Pin.OUT, value=1)


def rescue(why):
    """Leaves the interpreter to whoever is on the USB line, with the outputs open."""
    safe.open_outputs()
    registers.stop_watchdog(registers.chip_name())
    micropython.kbd_intr(_CTRL_C)
    lit("led_ok")
    lit("led_out")
    say = "coincide: rescue mode, outputs open: " + why
    print(say)
    try:
        # Printed before anyone listens it is lost; in the prompt the host finds it whenever it comes.
        sys.ps1 = say + "\n>>> "
    except AttributeError:
        return  # an interpreter without: the prompt alone says that it answers


def rescue_wanted():
    held = machine.Pin(pins.gpio_of("preset"), machine.Pin.IN, machine.Pin.PULL_UP)
    time.sleep_ms(2)
    return held.value() == pins.active_level_of("preset")


def take_memory():
    """(rings of the sampler, ring of the events): the two large pieces."""
    from .memory import Rings

    gc.collect()
    # The same size as app.events.RING_BYTES, which must not be imported before it.
    pieces = (Rings(), bytearray(_EVENTS_BYTES))
    gc.collect()
    return pieces


def run(board, events):
    """The loop. Only an exception ends it."""
    from app.box import Box

    box = Box(board, events)
    del events
    gc.collect()
    gc.threshold(_COLLECT_AT_WORK_BYTES)
    forgiven = False
    board.start_watchdog()
    while True:
        board.feed_watchdog()
        board.idle(box.step())
        if not forgiven and board.millis() > _SHORT_LIFE_MS:
            board.files.remove(CRASHES)
            forgiven = True


def keep_crash(board, error):
    """The crash record; returns how many crashes in a row there have been."""
    try:
        from app.crash import CrashRecord, boot_number

        CrashRecord(board.files).keep(error, boot_number(board.files), board.millis(), "main loop")
        board.files.append(CRASHES, b"x")
        return board.files.size(CRASHES)
    except Exception:  # noqa: BLE001  a crash that cannot be written down is no second crash
        return _MANY_CRASHES


def main():
    if rescue_wanted():
        rescue("'preset' was held.")
        return
    if registers.rescue_was_asked(registers.chip_name()):
        rescue("the host asked for it; the next start is an ordinary one.")
        return
    if tuple(sys.implementation.version[:2]) < (1, 24):
        rescue("this MicroPython is too old; install 1.24 or newer.")
        return
    board = None
    try:
        gc.threshold(_COLLECT_EVERY_BYTES)
        rings, events = take_memory()
        from .pico import Board

        board = Board(rings)
        run(board, events)
    except BaseException as error:
        safe.open_outputs()
        if board is None:
            rescue("the board did not start: %r" % error)
            raise
        board.close()
        lit("led_out")
        crashes = keep_crash(board, error)
        if crashes < _MANY_CRASHES:
            time.sleep_ms(_RESTART_WAIT_MS)
            board.reset()
        while True:
            # The same crash again and again: stay, open and lit, until 'preset' is held or power cycled.
            board.feed_watchdog()
            time.sleep_ms(100)
            if rescue_wanted():
                board.reset()
