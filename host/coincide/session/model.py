"""What a session is made of. Frozen; arrays are numpy; ticks are integers of the box's timebase."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

FORMAT = "coincide-session"
VERSION = 1

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

# Kind of a remark that holds edges of a group still going on; of no more use once its group is in the file.
OPEN_GROUP = "open group"

A, B = 0, 1
BODIES = ("A", "B")


@dataclass(frozen=True, slots=True)
class Plan:
    """What the box was told to do for one pair, in integer nanoseconds as on the wire."""

    delay_a_ns: int = 0
    delay_b_ns: int = 0
    lead_ns: int = 300_000_000
    closure_ns: int = 150_000_000
    window_ns: int = 1_000_000_000

    @property
    def offset_s(self) -> float:
        """Signed offset, seconds: positive when the box holds body A back."""
        return (self.delay_a_ns - self.delay_b_ns) * 1e-9


@dataclass(frozen=True, slots=True)
class ShotRecord:
    """One line of a session file: one pair fired (or one watched group) with its raw edges.

    `channel`, `level` and `tick` run in parallel, in tick order; level 1 means closed or lit. `plan` is
    None for a group that the box only watched. `lost` counts edges the sampler could not keep.
    """

    shot: int
    at: str
    plan: Plan | None
    channel: tuple[int, ...]
    level: tuple[int, ...]
    tick: tuple[int, ...]
    lost: int = 0


@dataclass(frozen=True, slots=True)
class Remark:
    """Anything else the file keeps: a fault, an overrun, a stray edge, a word of the person's."""

    at: str
    kind: str
    say: str
    detail: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Header:
    """First line of a session file.

    `purpose` is one of 'series', 'verify', 'watch', 'ready', 'zero', 'plugs', 'lamps'. `rig_toml` is the rig file as it
    was, text and all; `exposures` the marked shutter times of A and B as written ('1/125'); `preset` the
    name of the calibration whose offset was on, or None. `box` is what `identify` answered. `known` is what
    calibrations and the zero check had taught before (see timing.budget.known).
    """

    created: str
    purpose: str
    tick_hz: int
    channels: tuple[str, ...]
    rig_toml: str
    box: dict[str, Any]
    exposures: tuple[str, str]
    preset: str | None = None
    interval_s: float | None = None
    confirmed: tuple[str, ...] = ()
    known: dict[str, Any] = field(default_factory=dict)

    @property
    def simulated(self) -> bool:
        """Whether the box that measured was a simulated one: then everything in the file is invented."""
        return bool(self.box.get("board", {}).get("simulated"))


@dataclass(frozen=True, slots=True)
class EdgeTable:
    """All edges of a session in columns; `row` is the index into `Session.shot` (not the shot's number)."""

    row: Ints
    channel: Ints
    level: Ints
    tick: Ints


@dataclass(frozen=True, slots=True)
class Session:
    """A whole session file. One row a pair in `shot`, `lost` and `plan_ns`.

    `plan_ns` has columns delay_a, delay_b, lead, closure, window; -1 throughout where the pair was only
    watched. `torn` is the 1-based number of a last line that was cut short and skipped, or None.
    """

    header: Header
    shot: Ints
    lost: Ints
    plan_ns: Ints
    edges: EdgeTable
    remarks: tuple[Remark, ...] = ()
    torn: int | None = None


@dataclass(frozen=True, slots=True)
class Shots:
    """Edges made into pairs: n rows; bodies on axis 1 (0 = A, 1 = B); seconds.

    Times within a shot count from that row's `start_s`, itself counted from the first row's start, so
    that nothing is lost to rounding in a long session. NaN means 'not seen'.

    start_s (n,): the earlier full-press, or a watched group's first edge.
    rest_s (n,): quiet since the previous row's start; NaN in the first row.
    delay_s (n, 2): what the box was told to add to each body.
    full_s (n, 2): full-press edge that left the box.
    sync_s, sync_open_s (n, 2): the closing edge accepted as the sync contact's, and its last opening.
    gate_open_s, gate_close_s (n, 2, 2): gate sensors 1 and 2 of each body.
    bounces (n, 2): further closings within the bounce window. flicks (n, 2): closings too early or too
    short to be an exposure. extras (n, 2): closings after the bounce window, as of a body fired twice.
    lost (n,): edges the sampler could not keep.
    click_s (n, 2): of a recording of sound, the middle between the clicks of first and second curtain.
    """

    number: Ints
    start_s: Floats
    rest_s: Floats
    delay_s: Floats
    full_s: Floats
    sync_s: Floats
    sync_open_s: Floats
    gate_open_s: Floats
    gate_close_s: Floats
    bounces: Ints
    flicks: Ints
    extras: Ints
    lost: Ints
    click_s: Floats = field(default_factory=lambda: np.full((0, 2), np.nan))
