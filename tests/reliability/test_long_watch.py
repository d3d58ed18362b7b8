"""A watch that goes on for days: every edge on file, and the memory it takes does not grow."""

from __future__ import annotations

import gc
import os
from dataclasses import replace
from pathlib import Path

import pytest

from coincide.box.cable.client import BoxClient
from coincide.box.conduct import watch
from coincide.box.plans import WatchOutcome
from coincide.box.simulated.port import SimulatedPort, open_simulated
from coincide.box.simulated.spec import BoxSpec, WorldSpec
from coincide.box.simulated.worlds import world_spec
from coincide.cli.terminal.live import LiveView
from coincide.rig.file import parse_rig
from coincide.rig.new import TEMPLATE
from coincide.session.file import SessionWriter, read_session
from coincide.session.model import Remark, ShotRecord
from coincide.timing.running import RunningSeries
from coincide_firmware.app import pins
from tests.box.sinks import MemorySession, header_for
from tests.box.witness import Witness

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/statm").exists(), reason="this system does not tell how much memory a process has"
)
CLOSED_TICKS, APART_TICKS, LATE_TICKS = 125_000, 150_000, 1_700_000


def resident_mib() -> float:
    """Memory this process has now."""
    gc.collect()
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 2**20


def chattering(port: SimulatedPort, closings: int) -> None:
    """Both contacts close, and close again and again: the first is the exposure, the rest is wear. Then the same once
    more, after a rest."""
    world = port.world
    every_s = 0.5 + 2 * closings * APART_TICKS / 125e6

    def close() -> None:
        for channel, late in ((pins.SYNC_A, 0), (pins.SYNC_B, LATE_TICKS)):
            for closing in range(closings):
                at = world.clock.now + late + closing * APART_TICKS
                world.sampler.drive(channel, at, True)
                world.sampler.drive(channel, at + CLOSED_TICKS, False)
        world.clock.after_s(every_s, close)

    world.clock.after_s(every_s, close)


def watched(
    path: Path, groups: int, closings: int, *, seen: bool = False, looks: int = 10
) -> tuple[WatchOutcome, list[float]]:
    """A watch of so many groups into a file; memory at the start and after each of `looks` equal parts."""
    spec = WorldSpec("chatter", "worn contacts", *world_spec("steady").bodies, box=BoxSpec(bytes_per_s=1e6))
    port = open_simulated(spec)
    client = BoxClient(port)
    chattering(port, closings)
    header = replace(header_for(client), purpose="watch", rig_toml=TEMPLATE, exposures=("1/60", "1/30"))
    running = RunningSeries(header)
    view = LiveView(parse_rig(TEMPLATE), None, running)
    resident = [resident_mib()]

    def take(record: ShotRecord) -> None:
        # The view measures its latest 400 pairs anew with each; one in twenty turns them over often enough.
        if seen and record.shot % 20 == 0:
            view.take(record.shot, running.take(record))
        if record.shot % (groups // looks) == 0:
            resident.append(resident_mib())

    with SessionWriter(path, header) as writer:
        outcome = watch(client, writer, take, groups=groups, gap_s=0.2)
    return outcome, resident


def test_two_hundred_thousand_edges_take_no_more_memory_than_twenty_thousand(tmp_path: Path) -> None:
    path = tmp_path / "s.jsonl"
    outcome, resident = watched(path, 1000, 50)
    assert outcome.kept == 1000
    assert outcome.sentences == ()
    session = read_session(path)
    assert session.lost.sum() == 0
    assert len(session.edges.tick) >= 200_000
    assert max(resident[2:]) - resident[1] < 6.0, resident


@pytest.fixture
def worn() -> SimulatedPort:
    return worn_on(BoxSpec(bytes_per_s=1e6))


def worn_on(box: BoxSpec, closings: int = 750) -> SimulatedPort:
    """Contacts so worn that a pair has far more edges than the box can hold."""
    spec = WorldSpec("chatter", "worn contacts", *world_spec("steady").bodies, box=box)
    port = open_simulated(spec)
    chattering(port, closings)
    return port


def test_a_pair_of_more_edges_than_the_box_holds_is_kept_whole_and_so_are_those_after(
    worn: SimulatedPort, tmp_path: Path
) -> None:
    witness = Witness(worn.world)
    client = BoxClient(worn)
    session = MemorySession(header_for(client))
    outcome = watch(client, session, groups=3, gap_s=0.2, quiet_s=60.0)
    assert outcome.kept == 3
    assert [len(record.tick) for record in session.records] == [3000] * 3
    assert all(witness.saw(record) and record.lost == 0 for record in session.records)
    (said,) = outcome.sentences
    assert "a contact chatters" in said


class Killed(BaseException):
    """The process ends here; what is not on disk is gone."""


def test_killed_inside_a_pair_that_goes_on_and_on_what_the_box_forgot_is_on_disk(
    worn: SimulatedPort, tmp_path: Path
) -> None:
    witness = Witness(worn.world)
    client = BoxClient(worn)
    path = tmp_path / "s.jsonl"
    left = [4]

    class Dying(SessionWriter):
        def remark(self, remark: Remark) -> None:
            super().remark(remark)
            left[0] -= remark.kind == "open group"
            if not left[0]:
                raise Killed

    with Dying(path, header_for(client)) as writer, pytest.raises(Killed):
        watch(client, writer, groups=3, gap_s=0.2)
    session = read_session(path)
    assert session.shot.size == 0
    (remark,) = [one for one in session.remarks if one.kind == "left over"]
    assert "broke off inside a group" in remark.say
    on_disk = list(zip(*(remark.detail[name] for name in ("channel", "level", "tick")), strict=True))
    assert len(on_disk) > 1500
    assert on_disk == witness.lives[0][: len(on_disk)]
    # What the box still holds, and all that comes after, the next run has.
    with SessionWriter.resume(path) as writer:
        assert watch(BoxClient(worn), writer, groups=2, gap_s=0.2).kept == 2
    again = read_session(path)
    assert again.shot.size == 2
    assert not [one for one in again.remarks if one.kind == "open group"]


def test_a_line_too_slow_for_it_loses_edges_by_count_and_joins_no_two_pairs() -> None:
    """What the box could neither send nor hold is counted with the pair, and no pair takes another's edges."""
    worn = worn_on(BoxSpec(bytes_per_s=4000.0), 400)
    witness = Witness(worn.world)
    client = BoxClient(worn)
    session = MemorySession(header_for(client))
    outcome = watch(client, session, groups=4, gap_s=0.2, quiet_s=120.0)
    assert outcome.kept >= 4
    whole = [record for record in session.records if not record.lost]
    assert len(whole) < len(session.records)
    assert all(witness.saw(record) for record in whole)
    for record in session.records:
        assert (record.tick[-1] - record.tick[0]) / 125e6 < 1.2 * 400 * APART_TICKS / 125e6
    assert any("no room" in said for said in outcome.sentences)


@pytest.mark.soak
def test_ten_million_edges_through_the_watch_and_its_live_view(tmp_path: Path) -> None:
    path = tmp_path / "s.jsonl"
    outcome, resident = watched(path, 50_000, 50, seen=True)
    assert outcome.kept == 50_000
    size_mib = path.stat().st_size / 2**20
    listening = f"{resident[0]:.0f} MiB before, then {', '.join(f'{one:.0f}' for one in resident[1:])}"
    # The view has all it will ever hold after 8000 pairs.
    assert max(resident[3:]) - resident[2] < 8.0, listening
    before = resident_mib()
    session = read_session(path)
    assert session.shot.size == 50_000
    assert session.lost.sum() == 0
    assert session.edges.tick.size >= 10_000_000
    whole_mib = resident_mib() - before
    print(f"watching: {listening}; a file of {size_mib:.0f} MiB, read whole in {whole_mib:.0f} MiB")
