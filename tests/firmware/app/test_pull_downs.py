"""The pull-downs are looked at only with the interlock open and nothing under way; the outputs are open afterwards."""

from tests.firmware.app.stand_in import Bench, two_bodies

MS = 1000000


def open_bench():
    bench = Bench()
    two_bodies(bench)
    bench.board.open_interlock()
    bench.run_ms(30)
    return bench


def test_what_is_held_is_told():
    bench = open_bench()
    for held in (15, 0, 7):
        bench.board.held = held
        assert bench.ok("pull_downs") == {"held": held}
        assert bench.board.outputs_closed() == 0


def test_with_the_interlock_closed_it_is_refused_and_the_pins_are_left_alone():
    bench = Bench()
    assert bench.refused("pull_downs") == "interlock_closed"
    bench.ok("arm")
    assert bench.refused("pull_downs") == "interlock_closed"
    bench.ok("fire", shot=1)
    bench.run_ms(50)
    assert bench.refused("pull_downs") == "interlock_closed"


def test_a_shot_that_the_interlock_stopped_is_told_first():
    bench = Bench()
    two_bodies(bench)
    bench.ok("arm")
    bench.ok("fire", shot=1, lead_ns=100 * MS)
    bench.run_ms(50)
    bench.board.open_interlock()
    assert bench.refused("pull_downs") == "busy"
    bench.run_ms(2000)
    assert bench.ok("pull_downs") == {"held": 15}


def test_not_while_listening():
    bench = open_bench()
    bench.ok("watch", on=1)
    assert bench.refused("pull_downs") == "busy"
    bench.ok("watch", on=0)
    bench.ok("pull_downs")


def test_a_reading_that_fails_leaves_everything_open_and_is_said():
    for error in (RuntimeError("pins"), MemoryError()):
        bench = open_bench()
        bench.board.raise_in["pull_downs_held"] = error
        assert bench.refused("pull_downs") == "failed"
        assert bench.board.outputs_closed() == 0
        bench.board.interlock = True
        bench.run_ms(30)
        assert bench.refused("fire", shot=1) == "not_armed"
