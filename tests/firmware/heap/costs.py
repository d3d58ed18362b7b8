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
from app import shots  # noqa: E402
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


def came(count):
    """So many edges, on the six channels of the bodies in turn, 0.2 ms apart: in the rings, and not read yet."""
    for n in range(count):
        clock.us += 200
        gpio = 6 + n % 6
        registers.change(gpio, 1 - (registers.pins >> gpio - 2 & 1))


def drained(count):
    """Turns of the loop until every edge that has come is read."""
    while board.edges_waiting():
        board.read_edges(box._keeper())


def measured(name, what, count):
    begins = json.dumps({"from": name})
    gc.collect()
    before = gc.mem_alloc()
    print(begins)
    us = clock.us
    what(count)
    us = clock.us - us
    print('{"done": 1}')  # asking for the memory costs more than many a thing that is measured
    print(json.dumps({"to": name, "each": count, "bytes": (gc.mem_alloc() - before) // count, "us": us}))


turns(200)
measured("idle", turns, 40)
measured("status", lambda count: asked("status", count), 5)
measured("identify", lambda count: asked("identify", count), 3)
# What the stand-in's own registers take is no part of an edge.
ring = board._sampler._rings[0]
measured("word", lambda count: [registers[ring] and None for _ in range(count)], 960)
came(240)
measured("edge", drained, 240)
# A shot that listens: its edges are kept, each channel's first forty.
box.shot.edges.clear()
box.shot.from_tick, box.shot.to_tick, box.shot.state = 0, 1 << 60, shots.LISTENING
came(240)
measured("edge of a shot", drained, 240)
assert (box.shot.edges.count, box.shot.edges.lost) == (240, 0)
