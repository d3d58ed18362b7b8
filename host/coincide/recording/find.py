"""Where something happens in a recording: bangs out of blocks of samples, steps of light out of a bang.

A bang is everything from the first to the last edge of one pair, with quiet before and behind. Whole recordings are
never held in memory: blocks go in, bangs come out one by one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from coincide.recording.edges import Floats

Samples = npt.NDArray[np.float32]

FRAME_S = 0.001
BEFORE_S, BEHIND_S = 0.12, 0.15  # kept around a bang
LONGEST_S = 6.0  # a bang that goes on longer is no bang
LOUD = 6.0  # times the usual change within a frame
FLOOR_MEMORY_S = 8.0
REACH_S = 0.00025  # of a step finder, either side
FIRST = 0.25  # of a wave's farthest, from which it counts as having gone there
WAVES_KEPT = 12  # bangs of both bodies, of which one is drawn


@dataclass(frozen=True, slots=True)
class Bang:
    """wave (n, 2) from sample `first` of the recording on; it begins and ends at these samples of it."""

    first: int
    wave: Samples
    begins: int
    ends: int

    def without_wave(self) -> Bang:
        """The same once it is measured: an hour's waves are not kept."""
        return replace(self, wave=self.wave[:0].copy())


@dataclass(frozen=True, slots=True)
class Outline:
    """The whole recording, drawn coarse: highest and lowest sample of each 10 ms, (m, 2) each."""

    high: Samples
    low: Samples
    step_s: float


class Listener:
    """Takes blocks, gives bangs; keeps the outline. reach_s: within which what is looked for comes."""

    def __init__(self, rate_hz: int, quiet_s: float, reach_s: float = REACH_S) -> None:
        self.rate_hz = rate_hz
        self.frames_seen = 0
        self._frame = max(int(FRAME_S * rate_hz), 8)
        self._quiet = quiet_s
        self._lag = max(int(reach_s * rate_hz), 2)
        # What comes slowly is no more than the noise within a few samples: it is looked for in their means.
        self._smooth = self._lag // 2 if reach_s > REACH_S else 1
        self._high: list[Samples] = []
        self._low: list[Samples] = []
        self.not_numbers = 0

    def bangs(self, blocks: Iterable[Samples]) -> Iterator[Bang]:
        """Bangs in order of time."""
        frame, lag, smooth = self._frame, self._lag, self._smooth
        before, behind = int(BEFORE_S * self.rate_hz), int(BEHIND_S * self.rate_hz)
        quiet, longest = int(self._quiet * self.rate_hz), int(LONGEST_S * self.rate_hz)
        floors: list[npt.NDArray[np.float64]] = []
        kept: Samples = np.zeros((0, 2), np.float32)
        origin = 0  # sample number of kept[0]
        done = 0  # samples of `kept` already looked at
        begins: int | None = None
        last_loud = 0
        for raw in self._joined(blocks):
            block = self._clean(raw)
            self._outline(block)
            kept = np.concatenate([kept, block])
            self.frames_seen += len(block)
            whole = (len(kept) - done) // frame
            if not whole:
                continue
            part = _means(kept[max(done - lag - smooth + 1, 0) : done + whole * frame], smooth)
            change = np.abs(part[lag:] - part[:-lag])
            change = change[max(len(change) - whole * frame, 0) :]
            missing = whole * frame - len(change)
            if missing:
                change = np.concatenate([np.zeros((missing, 2), np.float32), change])
            moved = _each_row(change, frame).max(axis=2).T
            floors.append(np.median(moved, axis=0).astype(np.float64))
            floors = floors[-max(int(FLOOR_MEMORY_S), 1) :]
            floor = np.maximum(np.median(floors, axis=0), 4e-5)
            loud = np.flatnonzero((moved > LOUD * floor).any(axis=1)) + (origin + done) // frame
            done += whole * frame
            for index in loud.tolist():
                at = index * frame
                if begins is not None and at - last_loud > quiet:
                    yield self._cut(kept, origin, begins, last_loud + frame, before, behind)
                    begins = None
                if begins is None:
                    begins = at
                last_loud = at
            end = origin + done
            if begins is not None and (end - last_loud > max(quiet, behind) or end - begins > longest):
                yield self._cut(kept, origin, begins, last_loud + frame, before, behind)
                begins = None
            keep_from = min(begins if begins is not None else end, end) - before - frame
            drop = max(keep_from - origin, 0) // frame * frame
            kept, origin, done = kept[drop:], origin + drop, done - drop
        if begins is not None:
            yield self._cut(kept, origin, begins, last_loud + frame, before, behind)

    def outline(self) -> Outline:
        """What was drawn so far."""
        if not self._high:
            return Outline(np.zeros((0, 2), np.float32), np.zeros((0, 2), np.float32), 0.01)
        return Outline(np.concatenate(self._high), np.concatenate(self._low), 0.01)

    def _joined(self, blocks: Iterable[Samples]) -> Iterator[Samples]:
        """Blocks of about a second, however they come."""
        waiting: list[Samples] = []
        length = 0
        for block in blocks:
            waiting.append(block)
            length += len(block)
            if length >= self.rate_hz:
                yield np.concatenate(waiting)
                waiting, length = [], 0
        if waiting:
            yield np.concatenate(waiting)

    def _clean(self, block: Samples) -> Samples:
        wrong = ~np.isfinite(block)
        if wrong.any():
            self.not_numbers += int(wrong.sum())
            block = np.where(wrong, np.float32(0.0), block)
        return block

    def _outline(self, block: Samples) -> None:
        step = max(self.rate_hz // 100, 1)
        whole = len(block) // step
        if whole:
            parts = _each_row(block[: whole * step], step)
            self._high.append(parts.max(axis=2).T)
            self._low.append(parts.min(axis=2).T)

    def _cut(self, kept: Samples, origin: int, begins: int, ends: int, before: int, behind: int) -> Bang:
        first = max(begins - before - origin, 0)
        last = min(ends + behind - origin, len(kept))
        wave = kept[first:last].copy()
        return Bang(origin + first, wave, begins - origin - first, min(ends - origin, last) - first)


def _means(samples: Samples, length: int) -> Samples:
    """Mean of each `length` samples in a row, (n - length + 1, 2)."""
    if length == 1:
        return samples
    total = np.concatenate([np.zeros((1, 2)), np.cumsum(samples, axis=0, dtype=np.float64)])
    return np.asarray((total[length:] - total[:-length]) / length, dtype=np.float32)


def _each_row(samples: Samples, length: int) -> Samples:
    """Samples (n * length, 2) as (2, n, length), each row in one piece of memory, where extremes are found fast."""
    return np.ascontiguousarray(samples.T).reshape(2, -1, length)


def steps(wave: Floats, rate_hz: float, reach_s: float = REACH_S) -> Floats:
    """How much the mean of `reach_s` after each sample lies above that before it, (n,)."""
    reach = max(int(reach_s * rate_hz), 2)
    total = np.concatenate([[0.0], np.cumsum(wave)])
    means = (total[reach:] - total[:-reach]) / reach
    found = np.zeros(len(wave))
    if len(means) > reach:
        found[reach : reach + len(means) - reach] = means[reach:] - means[:-reach]
    return found


def first_way(wave: Floats, begins: int) -> float:
    """Which way a wave that was quiet up to sample `begins` went first, signed by how far it went at the most. That is
    the way of the light, whatever follows: a low cut answers a step only after it, though often more steeply."""
    away = wave - float(np.median(wave[: max(begins - 8, 16)]))
    size = float(np.abs(away).max(initial=0.0))
    far = np.flatnonzero(np.abs(away) > FIRST * size)
    return size * float(np.sign(away[far[0]])) if far.size else 0.0


def peaks(height: Floats, apart: int, most: int) -> npt.NDArray[np.int64]:
    """The highest `most` local maxima of height (n,), at least `apart` samples from each other."""
    inner = np.flatnonzero((height[1:-1] > height[:-2]) & (height[1:-1] >= height[2:])) + 1
    inner = inner[height[inner] > 0.02 * (height.max() if len(height) else 0.0)]
    chosen: list[int] = []
    for at in inner[np.argsort(-height[inner])].tolist():
        if all(abs(at - other) >= apart for other in chosen):
            chosen.append(at)
            if len(chosen) == most:
                break
    return np.array(sorted(chosen), np.int64)


def exposure_at(
    wave: Floats, rate_hz: float, marked_s: float, sign: int, reach_s: float = REACH_S
) -> tuple[int, int, float] | None:
    """Opening and closing sample of an exposure between half and twice the marked time, and the lesser of the two
    steps; None where there is none. sign: +1 where light raises the signal."""
    height = sign * steps(wave, rate_hz, reach_s)
    apart = max(int(0.0005 * rate_hz), 4)
    opens, closes = peaks(np.maximum(height, 0.0), apart, 12), peaks(np.maximum(-height, 0.0), apart, 12)
    best: tuple[int, int, float] | None = None
    for opening in opens.tolist():
        for closing in closes.tolist():
            if not 0.5 * marked_s < (closing - opening) / rate_hz < 2.0 * marked_s:
                continue
            size = min(float(height[opening]), -float(height[closing]))
            if best is None or size > best[2]:
                best = (opening, closing, size)
    return best
