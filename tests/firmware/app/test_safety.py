"""Outputs open, whatever happens; nothing closes without permission; what happened is told."""

from coincide_firmware.app.messages import SILENCE_MS
from coincide_firmware.app.safety import MARGIN_MS
from tests.firmware.app.stand_in import TICKS_A_MS, Bench, two_bodies

MS = 1000000


def armed_bench():
    bench = Bench()
    two_bodies(bench)
    bench.ok("arm", timeout_ms=10000)
    return bench


def keep_alive(bench, ms):
    """Let time pass with a host that gives signs of life."""
    for _ in range(ms // 1000):
        bench.run_ms(1000)
        bench.ok("status")


def test_an_arm_runs_out_by_itself():
    bench = armed_bench()
    keep_alive(bench, 8000)
    assert bench.ok("status")["state"] == "armed"
    keep_alive(bench, 3000)
    assert bench.ok("status")["state"] == "idle"
    assert bench.fault_codes() == ["arm_timeout"]
    assert bench.refused("fire", shot=1) == "not_armed"


def test_a_silent_host_disarms_and_opens():
    bench = armed_bench()
    bench.ok("fire", shot=1, lead_ns=2000 * MS, closure_ns=5000 * MS)
    closed_from = bench.board.now
    bench.run_ms(SILENCE_MS + 200)
    assert bench.board.outputs_closed() == 0
    assert bench.fault_codes() == ["silence"]
    for _, start, end in bench.board.closures:
        assert end - max(start, closed_from) <= (SILENCE_MS + 50) * TICKS_A_MS
    bench.run_ms(6000)
    assert bench.events_of("shot")[0]["aborted"] == "silence"
    assert bench.board.outputs_closed() == 0


def test_noise_is_no_sign_of_life():
    bench = armed_bench()
    for _ in range(20):
        bench.run_ms(200)
        bench.board.arrive(b'{"id": 1, "do": "status"}\tdeadbeef\n')
    assert bench.ok("status")["state"] == "idle"


def test_the_interlock_opens_everything_at_any_moment_of_a_shot():
    for at_ms in (1, 50, 150, 299, 301, 350, 400, 440):
        bench = armed_bench()
        bench.ok("fire", shot=1, delay_b_ns=20 * MS, lead_ns=300 * MS, closure_ns=150 * MS)
        bench.run_ms(at_ms)
        bench.board.hardware_stuck = True  # only the software opens
        bench.board.open_interlock()
        bench.run_ms(25)
        assert bench.board.outputs_closed() == 0, at_ms
        bench.run_ms(2000)
        assert bench.fault_codes() == ["interlock"]
        assert bench.refused("fire", shot=2) == "not_armed"
        assert bench.refused("arm") == "interlock"
        assert bench.events_of("shot")[0]["aborted"] == "interlock"


def test_a_closure_the_hardware_does_not_end_is_ended_by_the_software():
    bench = armed_bench()
    bench.board.hardware_stuck = True
    bench.ok("fire", shot=1, lead_ns=100 * MS, closure_ns=150 * MS)
    bench.run_ms(1500)
    assert bench.board.outputs_closed() == 0
    assert bench.fault_codes() == ["closure"]
    for output, start, end in bench.board.closures:
        limit_ms = 150 if output % 2 else 250
        assert end - start <= (limit_ms + MARGIN_MS + 60) * TICKS_A_MS
    assert bench.ok("status")["state"] == "idle"


def test_an_output_closed_without_permission_is_opened_at_once():
    bench = Bench()
    bench.board.hold_half(True)
    bench.step(2)
    assert bench.board.outputs_closed() == 0
    assert bench.fault_codes() == ["closure"]


def test_disarm_and_ensure_open_stop_a_shot_under_way():
    for verb, code in (("disarm", "disarmed"), ("ensure_open", "ensure_open")):
        bench = armed_bench()
        bench.ok("fire", shot=1, lead_ns=500 * MS)
        bench.run_ms(100)
        bench.ok(verb)
        assert bench.board.outputs_closed() == 0
        bench.run_ms(2000)
        assert not any(output % 2 for output, _, _ in bench.board.closures)  # no full-press ever
        (shot,) = bench.events_of("shot")
        assert shot["aborted"] == code
        assert shot["full_a"] is None
        assert bench.refused("fire", shot=2) == "not_armed"


def test_an_arm_lasts_as_long_as_the_shot_it_allowed():
    bench = Bench()
    two_bodies(bench)
    bench.ok("arm", timeout_ms=100)
    bench.ok("fire", shot=1, lead_ns=300 * MS, closure_ns=300 * MS)
    bench.run_ms(550)
    assert bench.board.outputs_closed() == 15
    assert bench.ok("status")["armed_ms"] > 0
    bench.run_ms(1500)
    assert bench.ok("status")["armed_ms"] == 0
    assert bench.events_of("shot")[0]["aborted"] is None


def test_an_exception_in_the_loop_opens_records_and_goes_on():
    bench = armed_bench()
    bench.ok("fire", shot=1, lead_ns=500 * MS)
    bench.run_ms(100)
    bench.board.raise_in["read_edges"] = ValueError("struck by lightning")
    bench.run_ms(50)
    assert bench.board.outputs_closed() == 0
    assert bench.fault_codes() == ["exception"]
    assert bench.refused("fire", shot=2) == "not_armed"
    crash = bench.ok("crash")["crash"]
    assert "struck by lightning" in crash["text"]
    assert crash["doing"] == "loop"
    assert bench.ok("identify")["crash"] is True
    bench.ok("crash_clear")
    assert bench.ok("identify")["crash"] is False
    bench.run_ms(500)
    bench.ok("arm")
    bench.ok("fire", shot=2)
    bench.run_ms(1500)
    assert bench.events_of("shot")[-1]["shot"] == 2


def test_an_exception_in_a_handler_is_answered_and_recorded():
    for error in (ValueError("odd"), MemoryError(), RuntimeError("too deep")):
        bench = armed_bench()
        bench.board.raise_in["start_pair"] = error
        assert bench.refused("fire", shot=1) == "failed"
        assert bench.board.outputs_closed() == 0
        assert bench.ok("crash")["crash"]["doing"] == "fire"
        assert bench.ok("status")["state"] == "idle"


def test_a_crash_record_outlives_the_power():
    bench = armed_bench()
    bench.board.raise_in["read_edges"] = ValueError("first")
    bench.run_ms(50)
    bench.board.raise_in["read_edges"] = ValueError("second")
    bench.run_ms(50)
    again = Bench(bench.board.files)
    crash = again.ok("crash")["crash"]
    assert "first" in crash["text"]
    assert crash["boot"] == 1
    assert again.ok("identify")["boot"] == 2


def test_a_box_that_keeps_failing_starts_afresh():
    bench = Bench()
    for _ in range(8):
        bench.board.raise_in["read_edges"] = ValueError("again")
        bench.run_ms(10)
    assert bench.board.resets == 1


def test_a_watchdog_reset_is_told():
    assert Bench(reset_cause="watchdog").fault_codes() == []
    bench = Bench(reset_cause="watchdog")
    bench.step()
    assert bench.fault_codes() == ["reset"]


def test_a_flash_that_fails_is_answered_and_the_box_still_fires():
    bench = Bench()
    two_bodies(bench)
    bench.board.files.fail = True
    assert bench.refused("put", values={"manual_wind": 1}) == "flash"
    bench.ok("arm")
    bench.ok("fire", shot=1)
    bench.run_ms(1500)
    assert len(bench.events_of("shot")) == 1
    bench.board.raise_in["read_edges"] = ValueError("and then this")
    bench.run_ms(20)
    assert bench.ok("crash")["crash"] is not None


def test_a_box_without_working_flash_still_starts():
    files = Bench().board.files
    files.fail = True
    bench = Bench(files)
    assert bench.ok("identify")["boot"] == 0
    bench.ok("arm")


def test_the_watchdog_is_fed_by_every_step():
    bench = Bench()
    before = bench.board.fed
    bench.step(10)
    assert bench.board.fed == before + 10


def test_every_reply_fits_a_line():
    bench = Bench()
    preset = {"name": "1/125 and 1/60 xxxxx", "tolerance_ns": 1000000000}
    for place in range(8):
        bench.ok("put", preset=place, values=preset)
    bench.board.raise_in["read_edges"] = ValueError("x" * 2000)
    bench.step(2)
    for verb in ("identify", "status", "get", "crash", "framelog"):
        bench.ok(verb)  # the reader refuses longer lines than the contract allows
    bench.ok("get", preset=7)


def test_a_port_that_takes_little_gets_everything_in_order():
    bench = armed_bench()
    bench.board.serial_room = 3
    bench.ok("fire", shot=1)
    bench.run_ms(4000)
    kinds = [event["is"] for event in bench.events]
    assert kinds[:2] == ["edges", "shot"]
    assert [event["ev"] for event in bench.events] == list(range(1, len(kinds) + 1))


def test_a_host_that_does_not_read_cannot_fill_the_box():
    bench = Bench()
    bench.board.serial_room = 0
    for _ in range(200):
        bench.board.arrive(b"nonsense\n" * 20)
        bench.step(3)
    assert bench.box.link._held < 4096
