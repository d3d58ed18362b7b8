"""Lines nobody sane would send. The box answers or ignores, grows no larger, and closes nothing."""

import gc

from coincide_firmware.app.messages import REQUESTS
from coincide_firmware.app.wire import crc32_hex, encode
from tests.firmware.app.stand_in import Bench, two_bodies

LINES_A_STEP = 5


class Dice:
    """Repeatable numbers, the same on both interpreters and small enough to cost no memory: three short
    generators added, after Wichmann and Hill (1982)."""

    def __init__(self, seed):
        self._a = seed
        self._b = seed + 1000
        self._c = seed + 2000

    def below(self, most):
        self._a = 171 * self._a % 30269
        self._b = 172 * self._b % 30307
        self._c = 170 * self._c % 30323
        return (self._a + self._b + self._c) % most

    def bytes(self, count):
        return bytes(self.below(256) for _ in range(count))

    def one_of(self, choices):
        return choices[self.below(len(choices))]


def sealed(payload):
    """A payload with the checksum that makes the box look inside."""
    return payload + b"\t" + crc32_hex(payload) + b"\n"


VERBS = sorted(verb for verb in REQUESTS)
# `arm` alone gives permission: without a valid one nothing may close, so no valid one is ever sent here.
VERBS.remove("arm")
ODD_VALUES = (
    b"-1",
    b"1e999",
    b"9" * 300,
    b"-" + b"9" * 300,
    b"true",
    b"null",
    b'"1"',
    b"[]",
    b"{}",
    b"1.5",
    b"18446744073709551616",
    b'"' + b"x" * 200 + b'"',
    b'"\\u0000\\ud800"',
)


def hostile_line(dice):
    """One line, of the kinds a bad cable, a bad program or bad luck would send."""
    kind = dice.below(12)
    if kind == 0:
        return dice.bytes(dice.below(60)) + b"\n"
    if kind == 1:
        line = encode({"id": 1, "do": dice.one_of(VERBS + ["arm"]), "shot": 1})
        return line[: dice.below(len(line) - 1)] + b"\n"
    if kind == 2:
        line = bytearray(encode({"id": 1, "do": "arm", "timeout_ms": 60000}))
        at = dice.below(len(line) - 2)
        line[at] ^= 1 << dice.below(8)
        return bytes(line)
    if kind == 3:
        return sealed(b"[" * dice.below(900))
    if kind == 4:
        return sealed(b'{"a":' * dice.below(180) + b"1" + b"}" * dice.below(180))
    if kind == 5:
        return sealed(b'{"id": ' + dice.one_of(ODD_VALUES) + b', "do": "status"}')
    if kind == 6:
        return sealed(b'{"id": 1, "do": ' + dice.one_of(ODD_VALUES) + b"}")
    if kind == 7:
        verb = dice.one_of(VERBS).encode()
        field = dice.one_of(
            ("shot", "values", "upto", "start", "count", "entries", "output", "preset")
        ).encode()
        value = dice.one_of(ODD_VALUES)
        return sealed(b'{"id": 1, "do": "' + verb + b'", "' + field + b'": ' + value + b"}")
    if kind == 8:
        return sealed(
            b'{"id": 1, "do": "arm", "timeout_ms": ' + dice.one_of(ODD_VALUES[:-1] + (b"0", b"99")) + b"}"
        )
    if kind == 9:
        # Asked for properly, and not armed.
        verb = dice.one_of(("fire", "pulse"))
        return encode(
            {"id": dice.below(1000), "do": verb, "shot": 1 + dice.below(1000000), "output": dice.below(4)}
        )
    if kind == 10:
        return sealed(dice.bytes(dice.below(200)).replace(b"\n", b""))
    if dice.below(20):
        return b"\x03\x04\x00\r\r\n" + b"\n" * dice.below(5)
    return b"x" * 10000 + b"\n"


def throw(lines, seed, weigh):
    """A generator that throws so many lines at a box, a few a step, and looks at it all the while; with `weigh`
    also at its memory, which only means something where garbage is collected between the steps."""
    bench = Bench()
    two_bodies(bench)
    dice = Dice(seed)
    thrown = 0
    before = 0
    yield
    while thrown < lines:
        for _ in range(LINES_A_STEP):
            bench.board.arrive(hostile_line(dice))
            thrown += 1
            while bench.board.unread or bench.box.link.reading:
                bench.board.idle(bench.box.step())
                if bench.board.unread:
                    yield
            bench.board.sent = bytearray()
        assert bench.board.pairs == 0
        assert bench.board.closures == []
        assert bench.board.outputs_closed() == 0
        assert not bench.box.guard.armed
        # A valid request straight after is answered, whatever was left half said.
        if thrown % (50 * LINES_A_STEP) == 0:
            bench.board.arrive(b"\n")
            assert bench.ok("status")["state"] == "idle"
        bench.replies = []
        bench.events = []
        bench.board.lamp_runs.clear()  # lamps may be lit; what the stand-in notes of it is not the box's memory
        if weigh and thrown == 20 * LINES_A_STEP:
            before = yield from alive()
        yield
    assert bench.ok("identify")["crash"] is False
    assert bench.box.crash.since_boot == 0
    bench.replies = []
    bench.events = []
    if before:
        after = yield from alive()
        assert after <= before + 2000, (before, after)


def alive():
    """Bytes alive on the heap, garbage gone; 0 where the interpreter does not say."""
    gc.collect()
    yield
    return gc.mem_alloc() if hasattr(gc, "mem_alloc") else 0


def steps_hostile():
    return throw(2000, 1, True)


def steps_hostile_long():
    return throw(100000, 2, True)


def test_a_few_hostile_lines():
    for _ in throw(300, 3, False):
        pass
