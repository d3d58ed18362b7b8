"""Conducting: a series of pairs, or a watch, from the box into a session file, whatever happens on the way."""

from __future__ import annotations

from collections.abc import Callable

from coincide.box.cable.client import BoxClient
from coincide.box.interrupts import Interrupts
from coincide.box.plans import SeriesOutcome, SeriesPlan, SessionSink, WatchOutcome
from coincide.box.series import Ears, Series, Wishes
from coincide.box.watching import Watching
from coincide.session.model import ShotRecord


def _never() -> bool:
    return False


def _unheard(_: object) -> None:
    """Nobody listens."""


def run_series(
    client: BoxClient,
    writer: SessionSink,
    plan: SeriesPlan,
    on_shot: Callable[[ShotRecord], None] = _unheard,
    *,
    wound: Callable[[], bool] = _never,
    on_note: Callable[[str], None] = _unheard,
    on_prompt: Callable[[str], None] = _unheard,
    stop: Callable[[], bool] = _never,
    enough: Callable[[], bool] = _never,
) -> SeriesOutcome:
    """Fire pairs until the session holds `plan.pairs`, each safe on disk before the box may forget it.

    `on_shot` is told of each pair once it is kept, `on_note` of each sentence for the person as it comes up,
    `on_prompt` of what the person should do now (wind), which is no news once done.
    `wound` is asked now and then while the box waits for winding, and answers whether the person said so;
    the box's own button or foot switch counts as well. `stop` is asked between steps; Ctrl-C does the same.
    `enough` is asked after each pair, and ends the series as complete before its last.
    Whatever ends the series, all outputs are open and everything measured is in the file.
    """
    with Interrupts() as interrupts:
        ears = Ears(on_shot, on_note, on_prompt)
        wishes = Wishes(wound, lambda: interrupts.wished or stop(), enough)
        series = Series(client, writer, plan, ears, wishes)
        return series.run()


def watch(
    client: BoxClient,
    writer: SessionSink,
    on_group: Callable[[ShotRecord], None] = _unheard,
    *,
    gap_s: float = 0.5,
    groups: int | None = None,
    quiet_s: float | None = None,
    box_patience_s: float = 60.0,
    on_note: Callable[[str], None] = _unheard,
    stop: Callable[[], bool] = _never,
) -> WatchOutcome:
    """Listen without firing; each group of edges, ended by `gap_s` of quiet, becomes a record without a plan.

    Ends after `groups`, after `quiet_s` without a group, with `stop`, or with Ctrl-C.
    """
    with Interrupts() as interrupts:
        listening = Watching(client, writer, on_group, on_note, gap_s, lambda: interrupts.wished or stop())
        return listening.run(groups, quiet_s, box_patience_s)
