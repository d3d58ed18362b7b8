"""Which round of the row it was: skews and lags unwrapped from the slowest row to the fastest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

NEAR_HALF = 0.4  # of a round: a skew beyond this may as well be one the other way


@dataclass(frozen=True, slots=True)
class LampPair:
    """One pair: step of its row; skew without any offset, lags and exposures (span of the lamps), NaN where not
    read. mid_s: (2,) middles after the row's start, within a round."""

    number: int
    step_s: float
    round_s: float
    mid_s: tuple[float, float]
    exposure_s: tuple[float, float]
    skew_s: float
    lag_s: tuple[float, float]
    doubtful: tuple[float, float]


def within_round(value_s: float, round_s: float) -> float:
    """The same on the row, from minus half a round to half a round."""
    return float((value_s + 0.5 * round_s) % round_s - 0.5 * round_s)


def unwrapped(pairs: list[LampPair], isolator_s: Floats) -> tuple[list[LampPair], list[str]]:
    """Skews and lags with the right number of rounds, from the slowest row to the fastest; sentences."""
    said: list[str] = []
    known: list[float | None] = [None, None, None]  # skew, lag of A, lag of B, as the slower rows showed
    found: list[LampPair] = []
    for round_s in sorted({pair.round_s for pair in pairs}, reverse=True):
        level = [pair for pair in pairs if pair.round_s == round_s]
        columns = np.array([(pair.skew_s, *(np.array(pair.lag_s) - isolator_s)) for pair in level])
        for which in range(3):
            column, near = columns[:, which], known[which]
            seen = column[np.isfinite(column)]
            if not seen.size:
                continue
            if near is None:
                # A lag is never negative, but the step's rounding may make it look so.
                least = -0.5 * round_s if which == 0 else -level[0].step_s
                first = (seen[0] - least) % round_s + least
                near = float(first)
                if which == 0:
                    said += _one_way_or_the_other(near, round_s, len({pair.round_s for pair in pairs}) > 1)
            columns[:, which] = column + round_s * np.round((near - column) / round_s)
            known[which] = float(np.nanmean(columns[:, which]))
        found += [
            LampPair(
                pair.number,
                pair.step_s,
                pair.round_s,
                pair.mid_s,
                pair.exposure_s,
                float(row[0]),
                (float(row[1]), float(row[2])),
                pair.doubtful,
            )
            for pair, row in zip(level, columns, strict=True)
        ]
    return sorted(found, key=lambda pair: pair.number), said


def _one_way_or_the_other(skew_s: float, round_s: float, two_speeds: bool) -> list[str]:
    if abs(skew_s) > NEAR_HALF * round_s:
        return [
            f"A skew of {skew_s * 1e3:.0f} ms is nearly half a round of the row ({round_s * 1e3:.0f} ms) and may as "
            "well be one the other way: photograph a slower row as well."
        ]
    if not two_speeds:
        return [
            f"All frames show a row of one speed: the skew holds if it is under half a round, {round_s * 5e2:.0f} ms."
        ]
    return []
