"""Numbers into words, with no more digits than they carry."""

from __future__ import annotations

import math
import re

MS = 1e3
_OFFSET = re.compile(r"(?P<body>[AaBb])\s*[:=,]?\s*(?P<delay>[-+]?[\d.].*)")
_OFFSET_LAST = re.compile(r"(?P<delay>[-+]?[\d.].*?)\s+(?P<body>[AaBb])")


def decimals_for(uncertainty_ms: float) -> int:
    """Decimal places (0 to 4) that leave an uncertainty of this size two significant digits at most.

    Rule of GUM 7.2.6: at most two significant digits in an uncertainty, the value rounded alike.
    """
    if not math.isfinite(uncertainty_ms) or uncertainty_ms <= 0:
        return 2
    return int(min(4, max(0, 1 - math.floor(math.log10(uncertainty_ms)))))


def ms(value_s: float, uncertainty_s: float = math.nan) -> str:
    """'18.3 ms', rounded as its uncertainty allows; 'unknown' for NaN."""
    if not math.isfinite(value_s):
        return "unknown"
    return f"{value_s * MS:.{decimals_for(uncertainty_s * MS)}f} ms"


def ms_with_interval(value_s: float, interval_s: tuple[float, float]) -> str:
    """'18.3 ms (95 %: 17.9 to 18.8 ms)'."""
    half_s = (interval_s[1] - interval_s[0]) / 2
    places = decimals_for(half_s * MS)
    low, high = (f"{edge * MS:.{places}f}" for edge in interval_s)
    return f"{value_s * MS:.{places}f} ms (95 %: {low} to {high} ms)"


def percent(share: float) -> str:
    """'93 %', '99.6 %', 'over 99.9 %': only what is whole is called '100 %'."""
    if not math.isfinite(share):
        return "unknown"
    points = share * 100
    if 99.9 < points < 100:
        return "over 99.9 %"
    return f"{points:.0f} %" if points <= 99.5 or points >= 100 else f"{points:.1f} %"


def count(n: int, one: str, many: str | None = None) -> str:
    """'1 pair', '12 pairs'."""
    return f"{n} {one if n == 1 else many or one + 's'}"


def offset_from_text(text: str | None) -> float:
    """A signed offset in seconds from 'A 18.2ms' (body A held back, positive) or 'B 3ms'; 0 for None.

    Raises BadInput for anything else.
    """
    from coincide.errors import BadInput
    from coincide.units import quantity

    if text is None:
        return 0.0
    found = _OFFSET.fullmatch(text.strip()) or _OFFSET_LAST.fullmatch(text.strip())
    if found is None:
        raise BadInput(f"--offset '{text}': write the body to hold back and by how much, such as 'A 18.2ms'.")
    delay_s = quantity(found["delay"], "time")
    return delay_s if found["body"].upper() == "A" else -delay_s
