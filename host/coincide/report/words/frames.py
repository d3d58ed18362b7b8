"""The frame log as rows and sentences."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from coincide.report.words.numbers import count
from coincide.session.frames import VERDICT_WORDS, Frame

FRAME_COLUMNS = ("frame", "entry, no.", "preset", "skew, ms", "verdict")


class Log(Protocol):
    """What of the log is spoken of."""

    @property
    def frames(self) -> tuple[Frame, ...]: ...
    @property
    def damaged(self) -> int: ...
    @property
    def capacity(self) -> int: ...
    @property
    def full(self) -> bool: ...


def frame_rows(frames: Sequence[Frame]) -> list[tuple[str, ...]]:
    """One row a frame."""
    return [
        (
            "-" if frame.frame is None else str(frame.frame),
            str(frame.entry),
            frame.preset or "-",
            "-" if math.isnan(frame.skew_s) else f"{frame.skew_s * 1e3:+.2f}",
            VERDICT_WORDS[frame.verdict],
        )
        for frame in frames
    ]


def frame_summary(log: Log, frames: Sequence[Frame], csv_path: Path | None, *, cleared: bool) -> list[str]:
    """How many of which verdict, how full the log is, and what became of it."""
    if not log.frames:
        return ["The frame log is empty: frames fired by the box's own button are written to it."]
    counts = Counter(frame.verdict for frame in frames)
    said = ["; ".join(f"{n} {VERDICT_WORDS[verdict]}" for verdict, n in counts.most_common()) + "."]
    said.append(f"The log holds {count(len(log.frames), 'frame')} of {log.capacity}.")
    if log.full:
        said.append("The log is full: new frames are not written to it. Read it with --csv and --clear.")
    if log.damaged:
        said.append(
            f"{count(log.damaged, 'entry', 'entries')} cannot be read: the power went while it was being written."
        )
    if csv_path is not None:
        said.append(f"Written to {csv_path}" + (", and cleared from the box." if cleared else "."))
    return said
