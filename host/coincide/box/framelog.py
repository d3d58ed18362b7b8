"""Reading the box's frame log, page by page, into frames."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from coincide.box.cable.client import BoxClient
from coincide.errors import BoxFailed
from coincide.session.frames import Frame
from coincide_firmware.app.messages import FRAME_FIELDS, FRAME_VERDICTS

PAGE = 8


@dataclass(frozen=True, slots=True)
class FrameLog:
    """Everything in the log. damaged: entries that the power cut spoilt; capacity: how many it can hold."""

    frames: tuple[Frame, ...]
    damaged: int
    capacity: int

    @property
    def full(self) -> bool:
        """No room for another frame: the box says so by its light and keeps what it has."""
        return len(self.frames) >= self.capacity


def read_framelog(client: BoxClient, on_page: Callable[[int, int], None] | None = None) -> FrameLog:
    """The whole log. `on_page` is told how many of how many entries are here."""
    frames: list[Frame] = []
    while True:
        page = client.framelog(len(frames), PAGE)
        frames += [_frame(entry) for entry in page.page]
        if on_page is not None:
            on_page(len(frames), page.entries)
        if len(frames) >= page.entries:
            break
        if not page.page:
            raise BoxFailed(
                f"The box says its frame log holds {page.entries} entries and gave only {len(frames)}: try again."
            )
    damaged = sum(frame.verdict == "damaged" for frame in frames)
    return FrameLog(tuple(frames), damaged, page.capacity)


def _frame(entry: tuple[Any, ...]) -> Frame:
    """An entry as the box sends it: a list in the order of FRAME_FIELDS; of a damaged one, its number alone."""
    if len(entry) != len(FRAME_FIELDS):
        return _empty(int(entry[0]))
    found = dict(zip(FRAME_FIELDS, entry, strict=True))
    verdict = found["verdict"]
    return Frame(
        frame=None,
        entry=found["entry"],
        boot=found["boot"],
        since_boot_s=found["ms"] / 1000,
        preset=str(found["preset"] or ""),
        verdict=FRAME_VERDICTS[verdict] if isinstance(verdict, int) else str(verdict),
        skew_s=_s(found["skew_ns"]),
        lag_a_s=_s(found["lag_a_ns"]),
        lag_b_s=_s(found["lag_b_ns"]),
        delay_a_s=_s(found["delay_a_ns"]),
        delay_b_s=_s(found["delay_b_ns"]),
        tolerance_s=_s(found["tolerance_ns"]),
    )


def _empty(entry: int) -> Frame:
    nan = math.nan
    return Frame(None, entry, 0, nan, "", "damaged", nan, nan, nan, nan, nan, nan)


def _s(ns: int | None) -> float:
    return math.nan if ns is None else ns * 1e-9
