"""What was known before a series was fired: learned of the bodies, the box's zero check, its circuits.

It goes into the session's header as a table, so that the file alone gives the same answer for ever.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from pydantic import TypeAdapter, ValidationError

from coincide.errors import BadInput
from coincide.rig.calibration import Learned

MEASURE_ZERO = (
    "It is not subtracted: put the loopback plug in and run 'coincide box check --zero' before you measure."
)

SENSELESS_ZERO = "The zero check in the session's header makes no sense: run 'coincide box check' again."


@dataclass(frozen=True, slots=True)
class Zero:
    """A zero check. skew_s: how much later B's sync input answers than A's, to be subtracted from a skew by
    sync; loop_s: delay of A's and B's release loop, to be subtracted from a lag; standard uncertainties
    beside."""

    skew_s: float
    u_skew_s: float
    loop_s: tuple[float, float]
    u_loop_s: tuple[float, float]
    made_at: str


@dataclass(frozen=True, slots=True)
class WiringTerm:
    """What one circuit of the box adds to the uncertainty of a measured time: type B, rectangular.

    signal: its row of the pin table, such as "sync_a" or "gate_b2"; body: "A" or "B". enters: "skew" (that
    body's share), "lag" or "prediction". delay_s: its typical delay, as computed from the parts; u_s: the
    standard uncertainty, what is left of it where the session has a zero check.
    """

    name: str
    signal: str
    body: str
    enters: str
    delay_s: float
    u_s: float


@dataclass(frozen=True, slots=True)
class Wiring:
    """The circuits fitted in the box, of (A, B), as the person said on `recorded_at`, and what they add.

    The numbers stand here, and not the circuits' names alone, so that a later version's circuits change no
    answer of an old session.
    """

    sync: tuple[str, str]
    release: tuple[str, str]
    gate: tuple[str, str]
    recorded_at: str
    terms: tuple[WiringTerm, ...] = ()


@dataclass(frozen=True, slots=True)
class RecordedPart:
    """What is uncertain of one channel of a recording, in common to all pairs: standard uncertainty, seconds."""

    name: str
    u_s: float
    distribution: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Recording:
    """Where the edges came from when no box measured them. source: 'light', 'sound' or 'instrument'. named: whether
    it is known which channel is which body. parts, exposure_parts: of mid-exposure and exposure, by 'A' and 'B'.
    detail: the rest, for people to read."""

    source: str
    file: str
    sha256: str
    named: bool
    parts: dict[str, tuple[RecordedPart, ...]]
    exposure_parts: dict[str, tuple[RecordedPart, ...]]
    detail: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Known:
    """learned: of A and B, None where nothing is. zero: the box's zero check, or None. stale_zero: why there
    is a zero check that was not used, or None. wiring: the circuits fitted, None where nobody said. recording: what
    the edges were read from, None where the box measured them."""

    learned: tuple[Learned | None, Learned | None] = (None, None)
    zero: Zero | None = None
    stale_zero: str | None = None
    wiring: Wiring | None = None
    recording: Recording | None = None


def known_table(known: Known) -> dict[str, Any]:
    """As it stands in a session's header."""
    return asdict(known)


def known_from(table: dict[str, Any]) -> Known:
    """Out of a session's header; an empty table is nothing known. Raises BadInput where it makes no sense."""
    if not table:
        return Known()
    try:
        return TypeAdapter(Known).validate_python(table)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        key = ".".join(str(part) for part in first["loc"])
        if first["loc"][0] == "zero":
            # The pairs are whole without it.
            return known_from(table | {"zero": None, "stale_zero": SENSELESS_ZERO})
        raise BadInput(
            f"The session's header has 'known.{key}' = {first['input']!r:.60}: {first['msg']}."
        ) from None
