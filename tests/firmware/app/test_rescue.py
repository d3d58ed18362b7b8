"""Rescue mode by request: once, by a whole line that names this boot, and never with a release closed."""

from coincide_firmware.app.box import LEAVES_MS
from coincide_firmware.app.messages import REQUESTS
from coincide_firmware.app.wire import crc32_hex, encode
from tests.firmware.app.stand_in import Bench, two_bodies

MS = 1000000


def booted():
    bench = Bench()
    two_bodies(bench)
    return bench, bench.ok("identify")["boot"]


def refusal(bench, boot, code):
    """The request is refused, and the box goes on as before."""
    assert bench.refused("rescue", boot=boot) == code
    bench.run_ms(2 * LEAVES_MS)
    assert bench.board.rescues == 0
    assert "state" in bench.ok("status")


def test_the_reply_goes_out_and_then_the_box_restarts_with_its_outputs_open():
    bench, boot = booted()
    assert bench.ok("rescue", boot=boot) == {"boot": boot}
    assert bench.board.rescues == 0
    bench.run_ms(LEAVES_MS - 50)
    assert bench.board.rescues == 0
    bench.run_ms(100)
    assert bench.board.rescues > 0
    assert bench.board.outputs_closed() == 0
    assert bench.board.closures == []


def test_nothing_is_answered_or_fired_any_more_while_the_box_leaves():
    bench, boot = booted()
    bench.ok("rescue", boot=boot)
    for verb in REQUESTS:
        bench.board.arrive(encode({"id": 900, "do": verb, "shot": 1, "output": 1, "upto": 0, "on": 1}))
    for name in bench.board.contacts:
        bench.board.contacts[name] = 1
    fed = bench.board.fed
    bench.run_ms(LEAVES_MS + 100)
    assert bench.replies == []
    assert bench.board.pairs == 0
    assert bench.board.closures == []
    assert bench.board.fed > fed
    assert bench.board.rescues > 0


def test_a_host_that_does_not_read_cannot_hold_it():
    bench, boot = booted()
    bench.board.serial_room = 0
    bench.board.arrive(encode({"id": 1, "do": "rescue", "boot": boot}))
    bench.run_ms(LEAVES_MS + 100)
    assert bench.board.rescues > 0


def test_refused_unless_it_names_this_boot():
    bench, boot = booted()
    for wrong in (0, boot - 1, boot + 1, 1 << 30):
        refusal(bench, wrong, "bad_field")
    for wrong in (None, True, str(boot), [boot], 1.0):
        refusal(bench, wrong, "bad_field")
    assert bench.refused("rescue") == "bad_field"


def test_refused_while_armed_and_during_a_shot():
    bench, boot = booted()
    bench.ok("arm")
    refusal(bench, boot, "busy")
    bench.ok("arm")
    bench.ok("fire", shot=1, lead_ns=500 * MS, window_ns=3000 * MS)
    refusal(bench, boot, "busy")
    bench.ok("disarm")
    refusal(bench, boot, "busy")  # listening goes on
    bench.run_ms(5000)
    assert len(bench.events_of("shot")) == 1
    refusal(bench, boot, "unread")
    bench.ok("ack", upto=bench.box.events.last)
    bench.ok("rescue", boot=boot)


def test_refused_while_a_finger_holds_a_release_and_while_an_output_is_closed():
    bench, boot = booted()
    bench.board.contacts["button_half"] = 1
    bench.run_ms(100)
    assert bench.board.outputs_closed() != 0
    refusal(bench, boot, "busy")
    bench.board.contacts["button_half"] = 0
    bench.run_ms(100)
    bench.ok("rescue", boot=boot)


def test_no_damaged_line_starts_it():
    bench, boot = booted()
    line = encode({"id": 1, "do": "rescue", "boot": boot})
    for at in range(len(line) - 1):
        for bit in range(8):
            torn = bytearray(line)
            torn[at] ^= 1 << bit
            bench.board.arrive(bytes(torn) + b"\n")
        bench.step(12)
        bench.board.arrive(line[:at] + b"\n")
        bench.step(2)
    bench.board.arrive(b"rescue\n\x03\x03rescue\r\n" + line[:-2].rpartition(b"\t")[0] + b"\n")
    bench.board.arrive(b'{"do": "rescue", "boot": %d}\t' % boot + crc32_hex(b"") + b"\n")
    bench.run_ms(2 * LEAVES_MS)
    assert bench.board.rescues == 0
    assert bench.ok("status")["state"] == "idle"
