# mypy: ignore-errors
"""Runs inside MicroPython's own machine: starts the firmware as a board does and plays a host at it.

    micropython -X heapsize=BYTES play.py WHAT

Prints lines of JSON. WHAT: `stub` (only what the stand-in itself takes), `start` (to the first answer), `day PAIRS`,
`modules NAMES`.
"""

import gc
import json
import sys

import chip

WHAT = sys.argv[1]
PAIRS = int(sys.argv[2]) if WHAT == "day" else 0
clock, stream, registers = chip.modules("board with RP2040")
print(json.dumps({"stub": gc.mem_alloc(), "total": gc.mem_alloc() + gc.mem_free()}))


def crc(data):
    import binascii

    return b"%08x" % (binascii.crc32(data) & 0xFFFFFFFF)


def asked(verb, fields=None):
    """One request; its answer."""
    payload = json.dumps(dict(fields or {}, id=1, do=verb)).encode()
    stream.said = None
    stream.coming = payload + b"\t" + crc(payload) + b"\n"
    stream.at = 0
    until = clock.us + 5000000
    while stream.said is None:
        if clock.us > until:
            raise chip.Over("no answer to " + verb)
        yield
    answer = json.loads(stream.said.partition(b"\t")[0])
    if "ok" not in answer:
        raise chip.Over(verb + ": " + str(answer.get("error")))
    return answer["ok"]


def say(name):
    chip.figures()
    print(json.dumps({"at": name}))


def started():
    yield from asked("identify")
    say("started")


PRESET = {
    "tolerance_ns": 500000000,
    "how_a": 3,
    "how_b": 3,
    "delay_b_ns": 123456789,
    "to_mid_a_ns": -999999999,
    "to_mid_b_ns": -999999999,
    "latest_a_ns": 10000000000,
    "latest_b_ns": 10000000000,
}


def waited(ms):
    until = clock.us + 1000 * ms
    while clock.us < until:
        yield


def day():
    yield from started()
    for place in range(8):
        yield from asked(
            "put", {"preset": place, "values": dict(PRESET, name="pair " + str(place) + " of the day")}
        )
    say("presets")
    # The interlock opened and closed once: without it nothing may be armed.
    for level in (1, 0):
        chip.Pin.levels[15] = level
        yield from waited(500)
    for shot in range(1, PAIRS + 1):
        yield from asked("arm")
        yield from asked("fire", {"shot": shot, "lead_ns": 50000000})
        yield from waited(1400)
        last = (yield from asked("status"))["last_event"]
        yield from asked("ack", {"upto": last})
        yield from asked("disarm")
        if shot % 5 == 0:
            say("pair " + str(shot))
    for _ in range(10):
        chip.Pin.levels[14] = 0
        yield from waited(100)
        chip.Pin.levels[14] = 1
        yield from waited(4000)
    say("field")
    # The page itself is the stand-in's, not the board's: it is let go before the heap is looked at.
    entries = (yield from asked("framelog", {"count": 16}))["entries"]
    yield from asked("status")
    yield from waited(100)
    say("framelog of " + str(entries))
    status = yield from asked("status")
    print(json.dumps({"crashes": status["crashes"], "dropped": status["dropped"]}))


def turn():
    try:
        next(steps)
    except StopIteration:
        raise chip.Over("done") from None


def resident():
    """Every module by itself: what stays of it."""
    before = 0
    for name in sys.argv[2:]:
        gc.collect()
        before = gc.mem_alloc()
        __import__(name)
        gc.collect()
        print(json.dumps({"module": name, "bytes": gc.mem_alloc() - before}))


if WHAT == "modules":
    resident()
elif WHAT != "stub":
    steps = {"start": started, "day": day}[WHAT]()
    stream.turn = turn
    try:
        __import__("main")
        print(json.dumps({"over": "main came back"}))
    except BaseException as error:  # noqa: BLE001 - the runner judges
        print(json.dumps({"over": str(error), "us": clock.us}))
        if not isinstance(error, chip.Over):
            sys.print_exception(error)
