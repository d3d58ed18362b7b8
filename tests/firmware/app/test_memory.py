"""A day's work in the memory of a board: the runner nails the heap to that size and collects between steps."""

from coincide_firmware.app.pins import GATE_A1, SYNC_A, SYNC_B
from coincide_firmware.app.settings import PRESET_VALUES
from tests.firmware.app.stand_in import TICKS_A_MS, Bench

MS = 1000000


def chattering(full):
    """A contact that bounces as badly as the edges of a shot have room for."""
    edges = []
    for channel in (SYNC_A, GATE_A1, SYNC_B):
        for i in range(120):
            edges.append((channel, 1 - i % 2, full + 40 * TICKS_A_MS + i * 20000 + channel))
    return edges


def asked(bench, verb, **fields):
    """Ask over several steps, one a call, so that garbage never piles up; the answer."""
    from coincide_firmware.app.wire import encode

    number = bench.next_id
    bench.next_id += 1
    fields["id"] = number
    fields["do"] = verb
    bench.board.arrive(encode(fields))
    for _ in range(100):
        yield
        bench.step()
        for reply in bench.replies:
            if reply["re"] == number:
                bench.replies = []
                assert "ok" in reply, reply
                return reply["ok"]
    raise AssertionError("no answer to " + verb)


def waited(bench, ms):
    end = bench.board.now + ms * TICKS_A_MS
    while bench.board.now < end:
        bench.step()
        yield


def steps_a_day():
    """Eight presets, a series at the limit of edges, acknowledged late, then the field, then the log."""
    bench = Bench()
    yield
    for place in range(8):
        values = {}  # type: dict[str, object]
        for name, _, most, _ in PRESET_VALUES:
            values[name] = most
        for body in ("a", "b"):
            values["earliest_%s_ns" % body] = 0
            values["how_" + body] = 1
        values["name"] = "pair %d of the day" % place
        yield from asked(bench, "put", preset=place, values=values)
    yield from asked(bench, "identify")
    bench.board.bodies = [chattering, None]
    for shot in range(1, 5):
        yield from asked(bench, "arm")
        yield from asked(bench, "fire", shot=shot, lead_ns=50 * MS)
        yield from waited(bench, 1300)
        bench.events = []
        if shot % 2 == 0:
            yield from asked(bench, "resend")
            yield from waited(bench, 50)
            bench.events = []
            yield from asked(bench, "ack", upto=bench.box.events.last)
    yield from asked(bench, "disarm")
    for _ in range(3):
        bench.board.contacts["button_full"] = 1
        yield from waited(bench, 100)
        bench.board.contacts["button_full"] = 0
        yield from waited(bench, 2000)
    bench.events = []
    page = yield from asked(bench, "framelog", count=16)
    assert page["entries"] == 3
    assert (yield from asked(bench, "status"))["dropped"] == 0
    assert bench.box.crash.since_boot == 0


def test_the_day_passes():
    for _ in steps_a_day():
        pass
