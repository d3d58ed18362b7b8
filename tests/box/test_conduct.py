"""Stopping, resuming, leftovers, mismatches: what a person may do to a series and what the box may hold."""

from __future__ import annotations

import itertools
import json
import os
import signal
import subprocess
import sys
import textwrap
from dataclasses import replace
from pathlib import Path

import pytest

from coincide.box.cable import client as client_module
from coincide.box.cable.answers import BoxRefused
from coincide.box.cable.client import BoxClient
from coincide.box.conduct import run_series, watch
from coincide.box.plans import SeriesPlan, number_base, offset_plan
from coincide.box.simulated.port import open_simulated
from coincide.box.simulated.spec import ContactSpec
from coincide.box.simulated.worlds import STEADY, STEADY_A
from coincide.errors import BadInput, BoxFailed
from coincide.session.file import SessionWriter, read_session
from coincide.session.model import Plan, ShotRecord
from tests.box.sinks import MemorySession, header_for, run
from tests.box.witness import first_full_tick, numbers


def test_a_session_file_has_what_the_box_saw(tmp_path: Path) -> None:
    port = open_simulated("ennerby fen", seed=3)
    client = BoxClient(port)
    told: list[ShotRecord] = []
    with SessionWriter(tmp_path / "s.jsonl", header_for(client)) as writer:
        outcome = run_series(client, writer, SeriesPlan(6), told.append)
    session = read_session(tmp_path / "s.jsonl")
    assert outcome.complete
    assert list(session.shot) == [1, 2, 3, 4, 5, 6] == numbers(told)
    for row, real in enumerate(port.truth):
        assert real.reference_tick in session.edges.tick[session.edges.row == row]


def test_stopped_by_hand_and_gone_on_with(tmp_path: Path) -> None:
    port = open_simulated("steady")
    client = BoxClient(port)
    told: list[ShotRecord] = []
    path = tmp_path / "s.jsonl"
    with SessionWriter(path, header_for(client)) as writer:
        outcome = run_series(client, writer, SeriesPlan(9), told.append, stop=lambda: len(told) >= 4)
    assert outcome.ending == "stopped"
    assert outcome.in_file == 4
    assert client.status().armed_ms == 0
    with SessionWriter.resume(path) as writer:
        outcome = run_series(client, writer, SeriesPlan(9), told.append)
    assert outcome.complete
    assert outcome.kept == 5
    assert numbers(told) == list(range(1, 10))
    assert len(port.truth) == 9


def test_a_stop_after_full_press_keeps_the_pair() -> None:
    port = open_simulated("steady")
    client = BoxClient(port)
    session = MemorySession(header_for(client))
    plan = SeriesPlan(9, Plan(closure_ns=400_000_000))
    outcome = run_series(client, session, plan, stop=lambda: port.world.releases.closed_mask == 15)
    assert outcome.ending == "stopped"
    assert numbers(session.records) == [1]
    assert port.truth[0].fired == (True, True)
    assert "Pair 1 was cut short: ensure_open." in outcome.sentences


def test_a_stop_before_full_press_leaves_no_pair() -> None:
    port = open_simulated("steady")
    client = BoxClient(port)
    session = MemorySession(header_for(client))
    outcome = run_series(client, session, SeriesPlan(3), stop=lambda: port.world.releases.closed_mask == 5)
    assert outcome.ending == "stopped"
    assert session.records == []
    assert port.truth == ()
    assert run_series(client, session, SeriesPlan(3)).complete
    assert numbers(session.records) == [1, 2, 3]


def test_ctrl_c_is_a_wish_to_stop() -> None:
    port = open_simulated("steady")
    client = BoxClient(port)
    session = MemorySession(header_for(client))

    def interrupt(record: ShotRecord) -> None:
        if record.shot == 3:
            os.kill(os.getpid(), signal.SIGINT)

    outcome = run_series(client, session, SeriesPlan(9), interrupt)
    assert outcome.ending == "stopped"
    assert numbers(session.records) == [1, 2, 3]
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


class Killed(BaseException):
    """The process ends here; what is not on disk is gone."""


def test_killed_between_disk_and_acknowledgement_counts_once(tmp_path: Path) -> None:
    port = open_simulated("steady")
    client = BoxClient(port)
    path = tmp_path / "s.jsonl"
    header = header_for(client)

    class Dying(SessionWriter):
        def append(self, record: ShotRecord) -> None:
            super().append(record)
            if record.shot == 3:
                raise Killed

    with Dying(path, header) as dying, pytest.raises(Killed):
        run_series(client, dying, SeriesPlan(6))
    with SessionWriter.resume(path) as writer:
        outcome = run_series(BoxClient(port), writer, SeriesPlan(6))
    assert outcome.complete
    assert list(read_session(path).shot) == [1, 2, 3, 4, 5, 6]
    # Counted in the file itself: a reader might forgive a pair written twice.
    pairs = [line for line in path.read_text(encoding="utf-8").splitlines() if "shot" in json.loads(line)]
    assert len(pairs) == 6
    assert len(port.truth) == 6


def test_killed_before_the_disk_loses_nothing_the_box_still_holds(tmp_path: Path) -> None:
    port = open_simulated("steady")
    client = BoxClient(port)
    path = tmp_path / "s.jsonl"

    class Dying(SessionWriter):
        def append(self, record: ShotRecord) -> None:
            if record.shot == 3:
                raise Killed
            super().append(record)

    with Dying(path, header_for(client)) as dying, pytest.raises(Killed):
        run_series(client, dying, SeriesPlan(6))
    with SessionWriter.resume(path) as writer:
        assert writer.last_shot == 2
        outcome = run_series(BoxClient(port), writer, SeriesPlan(6))
    assert outcome.complete
    assert list(read_session(path).shot) == [1, 2, 3, 4, 5, 6]
    assert len(port.truth) == 6  # pair 3 was not fired again


def test_a_pair_of_another_session_goes_aside_not_in() -> None:
    port = open_simulated("steady")
    first = BoxClient(port)
    first.arm(8000)
    first.fire(number_base(header_for(first, "2031-01-01T08:00:00Z")) + 1, Plan())
    port.wait(2.0)
    client = BoxClient(port)
    session = MemorySession(header_for(client, "2031-05-05T08:00:00Z"))
    outcome = run_series(client, session, SeriesPlan(2))
    assert outcome.complete
    assert numbers(session.records) == [1, 2]
    (left,) = [remark for remark in session.remarks if remark.kind == "left over"]
    assert len(left.detail["tick"]) >= 8
    assert [first_full_tick(r) for r in session.records] == [t.reference_tick for t in port.truth[1:]]


def test_a_watch_sets_aside_what_a_series_left() -> None:
    port = open_simulated("twin cable")
    client = BoxClient(port)
    client.arm(8000)
    client.fire(7, Plan(lead_ns=10_000_000, window_ns=200_000_000))
    client = BoxClient(port)
    session = MemorySession(header_for(client))
    outcome = watch(client, session, groups=2)
    assert outcome.kept == 2
    assert [remark.kind for remark in session.remarks] == ["left over"]
    assert all(record.plan is None for record in session.records)


def test_the_interval_is_kept_from_start_to_start() -> None:
    port = open_simulated("steady")
    client = BoxClient(port)
    run_series(client, MemorySession(header_for(client)), SeriesPlan(4, interval_s=7.0))
    starts = [real.reference_s for real in port.truth]
    for earlier, later in itertools.pairwise(starts):
        assert later - earlier == pytest.approx(7.0, abs=0.05)


def test_no_interval_means_as_fast_as_the_box_allows() -> None:
    port = open_simulated("steady")
    client = BoxClient(port)
    client.put_settings({"min_interval_ms": 3000})
    run_series(client, MemorySession(header_for(client)), SeriesPlan(3, interval_s=0.0))
    starts = [real.reference_s for real in port.truth]
    assert starts[1] - starts[0] == pytest.approx(3.0, abs=0.05)


def test_an_armed_box_is_kept_company_through_a_long_window() -> None:
    port = open_simulated("steady")
    client = BoxClient(port)
    session = MemorySession(header_for(client))
    outcome = run_series(client, session, SeriesPlan(2, Plan(window_ns=9_000_000_000), interval_s=15.0))
    assert outcome.complete
    assert outcome.sentences == ()


def test_a_box_that_stays_away_ends_the_series_with_everything_kept() -> None:
    port = open_simulated("steady")
    client = BoxClient(port)
    session = MemorySession(header_for(client))
    port.world.clock.after_s(10.0, port.machine.link.unplug)
    outcome = run_series(client, session, SeriesPlan(9, box_patience_s=20.0))
    assert outcome.ending == "box lost"
    assert outcome.in_file == len(session.records) == 3
    assert "plug it in and go on with the same session" in outcome.sentences[-1]


def test_a_hung_box_is_reset_by_its_watchdog_and_the_series_goes_on() -> None:
    port = open_simulated("steady")
    client = BoxClient(port)
    session = MemorySession(header_for(client))
    port.world.clock.after_s(9.0, lambda: port.machine.hang(60.0))
    outcome = run_series(client, session, SeriesPlan(5))
    assert outcome.complete
    assert any("restarted (watchdog)" in sentence for sentence in outcome.sentences)


def test_another_box_in_its_place_is_refused() -> None:
    port = open_simulated("steady")
    client = BoxClient(port)
    client.identity = replace(client.identity, uid="another")
    with pytest.raises(BoxFailed, match="Another box answers"):
        client.reconnect(5.0)


@pytest.mark.parametrize(("name", "value"), [("FIRMWARE_VERSION", "9.9.9"), ("PROTOCOL", 99)])
def test_another_version_is_refused_with_the_way_out(
    monkeypatch: pytest.MonkeyPatch, name: str, value: object
) -> None:
    monkeypatch.setattr(client_module, name, value)
    with pytest.raises(BoxFailed, match="run 'coincide box install'"):
        BoxClient(open_simulated("steady"))
    assert BoxClient(open_simulated("steady"), any_version=True).identity.firmware == "0.1.0"


def test_refusals_come_with_their_code() -> None:
    client = BoxClient(open_simulated("steady"))
    with pytest.raises(BoxRefused) as refused:
        client.fire(1, Plan())
    assert refused.value.code == "not_armed"
    with pytest.raises(BoxRefused, match="no setting"):
        client.put_settings({"nonsense": 1})


def test_offsets_lie_on_the_grid_of_the_box() -> None:
    client = BoxClient(open_simulated("steady"))
    plan = offset_plan(0.0123456789, client.identity)
    assert plan.delay_a_ns % 16 == 0
    assert plan.delay_b_ns == 0
    assert plan.offset_s == pytest.approx(0.0123456789, abs=8e-9)
    plan = offset_plan(-0.002, client.identity, Plan(lead_ns=7))
    assert (plan.delay_a_ns, plan.delay_b_ns, plan.lead_ns) == (0, 2_000_000, 7)


def test_plans_out_of_range_are_bad_input() -> None:
    with pytest.raises(BadInput, match="1 to 99999 pairs"):
        SeriesPlan(0)
    with pytest.raises(BadInput, match="interval"):
        SeriesPlan(3, interval_s=-1)


def test_settings_presets_and_logs_travel() -> None:
    client = BoxClient(open_simulated("steady"))
    assert client.put_settings({"lead_ms": 250})["values"]["lead_ms"] == 250
    client.put_preset(2, {"name": "fen 125-60", "tolerance_ns": 2_000_000, "delay_a_ns": 17_000_000})
    stored = client.preset(2)
    assert stored is not None
    assert stored["delay_a_ns"] == 17_000_000
    assert client.preset(3) is None
    assert client.framelog(0).entries == 0
    client.framelog_clear(0)
    assert client.crash() is None
    client.crash_clear()


def test_a_process_killed_outright_leaves_a_session_that_goes_on(tmp_path: Path) -> None:
    """SIGKILL, not an exception: the file alone has to be enough."""
    script = textwrap.dedent(
        """
        import os, signal, sys
        from coincide.box.cable.client import BoxClient
        from coincide.box.conduct import run_series
        from coincide.box.plans import SeriesPlan
        from coincide.box.simulated.port import open_simulated
        from coincide.session.file import SessionWriter
        from tests.box.sinks import header_for
        client = BoxClient(open_simulated("steady"))
        def die(record):
            if record.shot == 4:
                os.kill(os.getpid(), signal.SIGKILL if hasattr(signal, "SIGKILL") else signal.SIGTERM)
        run_series(client, SessionWriter(sys.argv[1], header_for(client)), SeriesPlan(9), die)
        """
    )
    path = tmp_path / "s.jsonl"
    done = subprocess.run(
        [sys.executable, "-c", script, str(path)], cwd=Path(__file__).parents[2], check=False, timeout=60
    )
    assert done.returncode != 0
    assert list(read_session(path).shot) == [1, 2, 3, 4]
    with SessionWriter.resume(path) as writer:
        outcome = run_series(BoxClient(open_simulated("steady", seed=2)), writer, SeriesPlan(9))
    assert outcome.complete
    assert list(read_session(path).shot) == list(range(1, 10))


def test_a_box_restarted_between_two_runs_into_one_file_keeps_time_going_forward() -> None:
    port = open_simulated("steady", seed=4)
    client = BoxClient(port)
    session = MemorySession(header_for(client))
    assert run_series(client, session, SeriesPlan(3)).complete
    later = BoxClient(open_simulated("steady", seed=5))
    assert run_series(later, session, SeriesPlan(5)).complete
    firsts = [record.tick[0] for record in session.records]
    assert firsts == sorted(firsts)
    assert any(remark.kind == "box restarted" for remark in session.remarks)


@pytest.mark.parametrize("created", ["2031-05-04T10:00:00Z", "2031-05-04T10:00:01Z", "2032-01-01T00:00:00Z"])
def test_the_same_seed_plays_the_same_day_whenever_it_is_played(created: str) -> None:
    """Numbers on the cable have as many digits whatever the clock on the wall says: virtual time heeds them."""
    port = open_simulated("steady")
    client = BoxClient(port)
    session = MemorySession(header_for(client, created))
    assert run_series(client, session, SeriesPlan(3)).complete
    known = run("steady", 3)
    assert [record.tick for record in session.records] == [record.tick for record in known.session.records]
    assert len(str(number_base(session.header))) == 9


def test_every_world_and_seed_is_a_box_of_its_own() -> None:
    played = [open_simulated(world, seed=seed) for world in ("steady", "ennerby fen") for seed in (1, 2)]
    assert len({BoxClient(port).identity.uid for port in played}) == 4


def test_edges_the_box_left_out_of_a_chattering_contact_are_said_and_in_the_file(tmp_path: Path) -> None:
    chattering = replace(STEADY_A, contact=ContactSpec(bounce_s=(0.02, 0.03), bounces=400))
    port = open_simulated(replace(STEADY, body_a=chattering), seed=2)
    client = BoxClient(port)
    path = tmp_path / "s.jsonl"
    with SessionWriter(path, header_for(client)) as writer:
        outcome = run_series(client, writer, SeriesPlan(2))
    assert outcome.complete
    session = read_session(path)
    remarks = [one for one in session.remarks if one.kind == "thinned"]
    assert {one.detail["shot"] for one in remarks} <= {1, 2}
    assert remarks
    for one in remarks:
        assert one.detail["thinned"] > 0
        assert f"left {one.detail['thinned']} out" in one.say
        assert one.say in outcome.sentences
