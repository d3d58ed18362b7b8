"""What was known before a series was fired: learned of the bodies, and the box's zero check.

It goes into the session's header as a table, so that the file alone gives the same answer for ever.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from pydantic import TypeAdapter, ValidationError

from coincide.errors import BadInput
from coincide.rig.calibration import Learned


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
class Known:
    """learned: of A and B, None where nothing is. zero: the box's zero check, or None."""

    learned: tuple[Learned | None, Learned | None] = (None, None)
    zero: Zero | None = None


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
        raise BadInput(
            f"The session's header has 'known.{key}' = {first['input']!r:.60}: {first['msg']}."
        ) from None
