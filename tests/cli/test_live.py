"""The live view: a steady picture of at most 80 columns in a terminal, plain lines in a pipe, and what came before."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from unittest.mock import patch

import pytest
from rich.console import Console

from coincide.box.cable.client import BoxClient
from coincide.box.conduct import run_series
from coincide.box.plans import SeriesPlan
from coincide.box.simulated.port import open_simulated
from coincide.cli.terminal.live import LiveView
from coincide.rig.file import load_rig
from coincide.rig.model import Rig
from coincide.rig.new import write_new
from coincide.session.memory import session_from_records
from coincide.session.model import Header, Session, ShotRecord
from coincide.timing.running import RunningSeries
from tests.box.sinks import MemorySession, header_for


@pytest.fixture(scope="module")
def rig(tmp_path_factory: pytest.TempPathFactory) -> Rig:
    return load_rig(write_new(tmp_path_factory.mktemp("rig") / "rig.toml"))


@pytest.fixture(scope="module")
def fired(rig: Rig, tmp_path_factory: pytest.TempPathFactory) -> MemorySession:
    """Thirty pairs of this rig, three of them without an answer."""
    client = BoxClient(open_simulated("missed fires", seed=2))
    text = write_new(tmp_path_factory.mktemp("rig") / "rig.toml").read_text("utf-8")
    kept = MemorySession(replace(header_for(client), rig_toml=text, exposures=rig.exposures))
    run_series(client, kept, SeriesPlan(30))
    return kept


class Screen:
    """A view on a console of 80 columns, what it is given, and what it wrote."""

    def __init__(self, view: LiveView, running: RunningSeries, written: io.StringIO) -> None:
        self.view = view
        self.running = running
        self.written = written

    def take(self, record: ShotRecord) -> None:
        self.view.take(record.shot, self.running.take(record))


@contextmanager
def viewed(
    header: Header, rig: Rig, total: int | None, *, terminal: bool, earlier: Session | None = None
) -> Iterator[tuple[Screen, io.StringIO]]:
    """A view on a console of 80 columns, and what it wrote."""
    screen = io.StringIO()
    console = Console(
        file=screen,
        force_terminal=terminal,
        width=80,
        height=24,
        color_system=None,
        highlight=False,
        markup=False,
    )
    running = RunningSeries(header, earlier)
    with patch("rich.console.Console", return_value=console):
        view = LiveView(rig, total, running)
        view.open()
        yield Screen(view, running, screen), screen
        view.close()


def pictures(written: str) -> list[list[str]]:
    """What stood on the screen after each redraw: the lines between one wiping of them and the next."""
    plain = [
        re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", part).replace("\r", "") for part in written.split("\x1b[2K")
    ]
    return [[line for line in part.split("\n") if line] for part in plain if part.strip()]


def test_in_a_terminal(rig: Rig, fired: MemorySession) -> None:
    with viewed(fired.header, rig, 30, terminal=True) as (view, screen):
        for record in fired.records:
            view.take(record)
        written = screen.getvalue()
    shown = pictures(written)
    assert max(len(line) for picture in shown for line in picture) <= 80
    last = "\n".join(shown[-1])
    assert "30 of 30 pairs, 3 without an answer" in last
    assert len(re.findall(r"pair +\d+ ", last)) == 6  # the last few pairs
    assert "offset so far: Lapwing waits" in last
    assert any("left" in line for line in shown[-2])
    assert any("that is enough for this tolerance" in picture for picture in shown)
    # No flicker: the picture is written over line by line, the screen never cleared, the cursor hidden meanwhile.
    assert "\x1b[2J" not in written
    assert "\x1b[?1049h" not in written
    assert written.count("\x1b[?25l") == 1
    # One redraw a pair and none between: what does not change does not move.
    assert len([one for one in shown if any("pairs," in line for line in one)]) <= len(fired.records) + 2


def test_in_a_pipe_plain_lines(rig: Rig, fired: MemorySession) -> None:
    with viewed(fired.header, rig, 30, terminal=False) as (view, screen):
        for record in fired.records:
            view.take(record)
    lines = screen.getvalue().splitlines()
    assert [line.split(":")[0] for line in lines] == ["pair 10 of 30", "pair 20 of 30", "pair 30 of 30"]
    assert "\x1b" not in screen.getvalue()
    assert "offset so far: Lapwing waits" in lines[-1]


def test_a_series_that_is_gone_on_with_knows_its_earlier_pairs(rig: Rig, fired: MemorySession) -> None:
    earlier = session_from_records(fired.header, fired.records[:20])
    with viewed(fired.header, rig, 30, terminal=True, earlier=earlier) as (view, screen):
        view.take(fired.records[20])
        shown = "\n".join(pictures(screen.getvalue())[-1])
    assert "21 of 30 pairs, 3 without an answer" in shown
    assert "offset so far: Lapwing waits" in shown


def test_a_watch_has_no_end(rig: Rig, fired: MemorySession) -> None:
    with viewed(fired.header, rig, None, terminal=True) as (view, screen):
        for record in fired.records[:4]:
            view.take(record)
        shown = "\n".join(pictures(screen.getvalue())[-1])
    assert "4 pairs, 1 without an answer" in shown
    assert "left" not in shown
