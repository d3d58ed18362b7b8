"""Reading the box's frame log, page by page, into frames."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from coincide.box.cable.client import BoxClient
from coincide.errors import BoxFailed
from coincide.session.frames import Frame
from coincide_firmware.app.frame_words import FRAME_FIELDS
from coincide_firmware.app.messages import FRAME_VERDICTS

PAGE = 8
ENTRIES_MOST = 100_000  # twenty times what a box has room for
LARGEST = 2**53  # of any count or time in an entry


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
    """The whole log. `on_page` is told how many of how many entries are here.

    An entry that makes no sense counts as damaged. Raises BoxFailed where the log itself makes none.
    """
    frames: list[Frame] = []
    while True:
        page = client.framelog(len(frames), PAGE)
        if not 0 <= page.entries <= ENTRIES_MOST:
            raise BoxFailed(
                f"The box says its frame log holds {page.entries} entries, which cannot be: nothing was cleared; "
                "install the matching firmware with 'coincide box install'."
            )
        frames += [_frame(entry, place) for place, entry in enumerate(page.page, len(frames))]
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


def _frame(entry: tuple[Any, ...], place: int) -> Frame:
    """An entry as the box sends it: a list in the order of FRAME_FIELDS; of a damaged one, its number alone."""
    if len(entry) != len(FRAME_FIELDS):
        return _empty(place)
    found = dict(zip(FRAME_FIELDS, entry, strict=True))
    verdict, preset = found.pop("verdict"), found.pop("preset")
    if not _sound(found, place, verdict, preset):
        return _empty(place)
    return Frame(
        frame=None,
        entry=place,
        boot=found["boot"],
        since_boot_s=found["ms"] / 1000,
        preset=preset or "",
        verdict=FRAME_VERDICTS[verdict],
        skew_s=_s(found["skew_ns"]),
        lag_a_s=_s(found["lag_a_ns"]),
        lag_b_s=_s(found["lag_b_ns"]),
        delay_a_s=_s(found["delay_a_ns"]),
        delay_b_s=_s(found["delay_b_ns"]),
        tolerance_s=_s(found["tolerance_ns"]),
    )


def _sound(numbers: dict[str, Any], place: int, verdict: Any, preset: Any) -> bool:
    """Whether an entry can be one: whole numbers, or null for what was not measured, and words that are known."""
    known = (numbers["entry"], numbers["boot"], numbers["ms"])
    return (
        all(value is None or (type(value) is int and abs(value) <= LARGEST) for value in numbers.values())
        and all(value is not None and value >= 0 for value in known)
        and numbers["entry"] == place
        and type(verdict) is int
        and 0 <= verdict < len(FRAME_VERDICTS)
        and (preset is None or isinstance(preset, str))
    )


def _empty(entry: int) -> Frame:
    nan = math.nan
    return Frame(None, entry, 0, nan, "", "damaged", nan, nan, nan, nan, nan, nan)


def _s(ns: int | None) -> float:
    return math.nan if ns is None else ns * 1e-9
