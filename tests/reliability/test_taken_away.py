"""What is taken away, damaged or worn out in mid-work: the session's file, the supply, the clock, numbers in files."""

from __future__ import annotations

import math
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from coincide.bench.check.record import BenchRecord, Loop, ZeroResult, fitted, save_record, zero_correction
from coincide.box.cable.client import BoxClient
from coincide.box.cable.lost import PortLost
from coincide.box.conduct import run_series
from coincide.box.plans import SeriesPlan, number_base
from coincide.box.series import LOSSES_MOST
from coincide.box.simulated.port import open_simulated
from coincide.errors import BadInput
from coincide.rig.file import parse_toml
from coincide.session.file import SessionWriter, read_session
from coincide.timing.budget.known import known_from
from coincide_wiring.netlist import Build, digest
from tests.box.sinks import MemorySession, header_for


@pytest.mark.parametrize("resets_at", [1, 4])
def test_a_box_that_resets_at_each_firing_is_not_fired_for_ever(resets_at: int) -> None:
    port = open_simulated("steady")
    client = BoxClient(port)
    session = MemorySession(header_for(client))
    fire, fired = client.fire, []

    def dips(number: int, plan: object) -> None:
        fire(number, plan)  # type: ignore[arg-type]
        fired.append(number)
        if session.last_shot + 1 >= resets_at:
            port.world.clock.after_s(0.02, lambda: port.machine.reset("power"))

    client.fire = dips  # type: ignore[method-assign,assignment]
    outcome = run_series(client, session, SeriesPlan(9))
    assert outcome.ending == "box resets"
    assert len(fired) == resets_at + 1  # the pair it resets at twice, each before it once
    assert outcome.in_file == resets_at - 1
    assert "the supply dips when the release pulls" in outcome.sentences[-1]
    assert port.world.releases.closed_mask == 0


def test_a_box_that_is_lost_again_and_again_before_one_pair_ends_the_series() -> None:
    """Not restarted, only lost: a plug that wiggles. Twenty times before one pair, however often before others."""
    port = open_simulated("steady")
    client = BoxClient(port)
    session = MemorySession(header_for(client))
    fire, lost = client.fire, {1: 0, 2: 0, 3: 0}

    def wiggles(number: int, plan: object) -> None:
        shot = session.last_shot + 1
        if lost[shot] < (LOSSES_MOST if shot == 3 else LOSSES_MOST - 1):
            lost[shot] += 1
            raise PortLost("The plug wiggles.")
        fire(number, plan)  # type: ignore[arg-type]

    client.fire = wiggles  # type: ignore[method-assign,assignment]
    outcome = run_series(client, session, SeriesPlan(9))
    assert (outcome.ending, outcome.in_file) == ("box resets", 2)
    assert lost == {1: LOSSES_MOST - 1, 2: LOSSES_MOST - 1, 3: LOSSES_MOST}
    assert f"lost {LOSSES_MOST} times before pair 3" in outcome.sentences[-1]
    assert port.world.releases.closed_mask == 0


@pytest.mark.parametrize(
    ("how", "created"),
    [
        ("file deleted", "2031-05-04"),
        ("folder deleted", "2031-05-05"),
        ("moved", "2031-05-06"),
        ("replaced", "2031-05-07"),
    ],
)
def test_a_session_taken_away_in_mid_run_stops_it_and_the_box_keeps_the_pair(
    tmp_path: Path, how: str, created: str
) -> None:
    port = open_simulated("steady")
    client = BoxClient(port)
    folder = tmp_path / "sessions"
    folder.mkdir()
    path = folder / "s.jsonl"

    def take_away() -> None:
        if how == "folder deleted":
            shutil.rmtree(folder)
        elif how == "moved":
            path.rename(folder / "tidied.jsonl")
        else:
            path.unlink()
        if how == "replaced":
            path.write_bytes(b"another\n")

    port.world.clock.after_s(6.0, take_away)
    with (
        SessionWriter(path, header_for(client)) as writer,
        pytest.raises(BadInput, match="deleted, moved or replaced"),
    ):
        run_series(client, writer, SeriesPlan(9))
    fired = len(port.truth)
    assert fired < 9
    assert port.world.releases.closed_mask == 0
    assert client.status().unread > 0  # the pair that is on no disk is still in the box
    # Going on in the same process into another file: that pair is kept there, apart, and the series is whole.
    header = replace(header_for(client), created=created)
    other = tmp_path / "other.jsonl"
    with SessionWriter(other, header) as writer:
        assert run_series(client, writer, SeriesPlan(3)).complete
    session = read_session(other)
    assert list(session.shot) == [1, 2, 3]
    assert [
        remark.detail["number"] % 100_000 for remark in session.remarks if remark.kind == "left over"
    ] == [fired]
    assert client.status().unread == 0


def test_a_series_begun_while_the_box_is_still_armed_by_one_that_broke_off(tmp_path: Path) -> None:
    """The number of a pair on the wire goes by its session: that of the later run may be the lower one."""
    port = open_simulated("steady")
    client = BoxClient(port)
    first, second = sorted(
        (replace(header_for(client), created=day) for day in ("2031-05-04", "2031-05-05")),
        key=number_base,
        reverse=True,
    )

    def break_off(_: object) -> None:
        raise SystemExit

    client.ensure_open = lambda: None  # type: ignore[method-assign]
    with pytest.raises(SystemExit), SessionWriter(tmp_path / "1.jsonl", first) as writer:
        run_series(client, writer, SeriesPlan(9), break_off)
    assert client.status().armed_ms > 0
    with SessionWriter(tmp_path / "2.jsonl", second) as writer:
        assert run_series(client, writer, SeriesPlan(2)).complete


def record(made_at: str, sync: str, skew_s: float = 1e-6, u_s: float = 1e-7) -> BenchRecord:
    build = Build(sync=(sync, sync))
    loop = Loop("full_a", "sync_a", 1e-5, 1e-7, 20)
    zero = ZeroResult((loop,), skew_s, u_s, (1e-5, 1e-5), (1e-7, 1e-7))
    return BenchRecord(made_at, "uid", "1", digest(build), build, (), zero)


def test_a_bench_record_made_after_the_clock_was_set_back_is_the_newest(tmp_path: Path) -> None:
    for made_at, sync in (("2031-05-04T10:00:00", "cell"), ("2025-01-01T10:00:00", "wetted")):
        save_record(record(made_at, sync), tmp_path)
    now = fitted("uid", tmp_path)
    assert now is not None
    assert now.build.sync == ("wetted", "wetted")
    assert now.made_at.startswith("2025")  # as the clock said


@pytest.mark.parametrize(
    ("skew_s", "u_s"), [(math.nan, 1e-7), (math.inf, 1e-7), (1e-6, math.nan), (1e-6, -1.0)]
)
def test_a_zero_check_that_is_no_number_is_passed_over(tmp_path: Path, skew_s: float, u_s: float) -> None:
    save_record(record("2031-05-04T10:00:00", "cell"), tmp_path)
    save_record(record("2031-05-05T10:00:00", "cell", skew_s, u_s), tmp_path)
    found = zero_correction("uid", None, tmp_path)
    assert found is not None
    assert found.zero.skew_s == 1e-6


def test_a_session_with_a_senseless_zero_check_is_read_without_it() -> None:
    zero = {"skew_s": None, "u_skew_s": 1e-7, "loop_s": [0, 0], "u_loop_s": [0, 0], "made_at": "2031-05-04"}
    known = known_from({"zero": zero})
    assert known.zero is None
    assert known.stale_zero is not None


@pytest.mark.parametrize(
    "text",
    [
        ".".join("a" * 40_000) + " = 1",
        " . ".join(['"\\""'] * 20_000) + " = 1",
        "[" + ".".join("a" * 40_000) + "]",
        "a = " + "[" * 40_000,
        "a = " + "{a=" * 30_000,
        '"' * 200_000,
    ],
    ids=["dotted", "quoted", "table", "lists", "tables in tables", "quotes"],
)
def test_toml_made_to_take_minutes_is_refused_before_it_is_parsed(text: str) -> None:
    with pytest.raises(BadInput, match="is not TOML"):
        parse_toml(text, "hostile.toml")


def test_toml_as_people_write_it_is_read() -> None:
    text = 'say = "a.b.c.d.e.f.g.h.i.j.k.l.m.n.o"  # [[[[ 1.2.3.4.5.6.7.8.9.10.11.12.13.14\n[a.b]\nc.d = [1.5, 2.5]'
    assert parse_toml(text, "fine.toml")["a"]["b"]["c"]["d"] == [1.5, 2.5]
