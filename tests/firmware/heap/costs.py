# mypy: ignore-errors
"""Runs inside MicroPython's own machine: what a turn of the idle loop and a reply take, in bytes and instructions.

Prints `{"from": name}` and `{"to": name, "each": count, "bytes": of each}` around what is measured; whoever runs it
reads the machine's instructions at both.
"""

import binascii
import gc
import json

import chip

clock, stream, registers = chip.modules("board with RP2040")

from board import start  # noqa: E402

gc.threshold(8192)
rings, events = start.take_memory()
from board.pico import Board  # noqa: E402

board = Board(rings)
from app.box import Box  # noqa: E402

box = Box(board, events)
gc.threshold(-1)


class Sink:
    taken = 0

    def write(self, data):
        self.taken += len(data)


sink = Sink()
board._usb._out = sink


def turns(count):
    for _ in range(count):
        board.feed_watchdog()
        board.idle(box.step())


def asked(verb, count):
    """So many requests, each answered to its last byte."""
    payload = json.dumps({"id": 1, "do": verb}).encode()
    line = payload + b"\t%08x\n" % (binascii.crc32(payload) & 0xFFFFFFFF)
    for _ in range(count):
        stream.coming = line
        stream.at = 0
        sink.taken = 0
        before = -1
        while sink.taken != before or not before:
            before = sink.taken
            box.step()


def measured(name, what, count):
    gc.collect()
    before = gc.mem_alloc()
    print(json.dumps({"from": name}))
    us = clock.us
    what(count)
    print(
        json.dumps(
            {"to": name, "each": count, "bytes": (gc.mem_alloc() - before) // count, "us": clock.us - us}
        )
    )


turns(200)
measured("idle", turns, 40)
measured("status", lambda count: asked("status", count), 5)
measured("identify", lambda count: asked("identify", count), 3)
