"""One edge of light in a recording: when the light at the diode was half of this one step.

A sound input lets no steady light through: behind a step the signal sinks, by what is of no interest and several
capacitors' doing. Near the edge, whatever they are, the signal is

    y(t) = background(t) + size * integral of p(t - s) dL(s),      p(0) = 1

with a smooth background, the light L from 0 to 1, and p the smooth answer to a sudden step. Outside the ramp both are
polynomials, fitted by least squares; inside it L is what is left over, found by turns with the fit (a Volterra equation
of the second kind solved by iteration; any text on integral equations). Nothing is assumed of the ramp's shape, nor
of the number of corners. No plateau is undone: the window ends before the other edge of the exposure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

WIDEST_S, NARROWEST_S = 0.009, 0.0006  # of the window, either side of the edge
TURNS = 8  # of the iteration
WIDTHS = (2, 4, 8, 16, 32)  # samples, over which a slope is taken
BIT = 0.4  # of a converter's step, its noise with dither
CLEAR = 25.0  # times its noise, which a slope must be
END_OF_RAMP = 0.12  # of the steepest slope
LONG_S = 0.0008  # a ramp longer than this is blades', whose ends are too soft to be seen
MOST_HIDDEN = 5.0
SOFT_ENDS = 0.02  # of a long ramp, standard uncertainty; from invented recordings
ROOT3 = float(np.sqrt(3.0))


@dataclass(frozen=True, slots=True)
class StepEdge:
    """at: half of the step, in samples from the start of the wave. u: its standard uncertainty from noise and from the
    choice of window, in samples. size: of the step, signed. ramp: from first to full light, in samples. unlike: rms
    of what the fit leaves, as a part of the step. size_spread: of the step between windows, as a part of it."""

    at: float
    u: float
    size: float
    size_spread: float
    ramp: float
    unlike: float


@dataclass(frozen=True, slots=True)
class _Fit:
    at: float
    noise_u: float
    size: float
    unlike: float


def step_edge(wave: Floats, near: int, rate_hz: float, exposure_s: float) -> StepEdge | None:
    """The step nearest sample `near` of wave (n,). exposure_s: from one edge to the other, roughly. None where there is
    no room or no step."""
    ramp = _ramp(wave, near, rate_hz)
    if ramp is None:
        return None
    begin, end = ramp
    reach = np.clip(max(0.0025, 1.5 * (end - begin) / rate_hz), NARROWEST_S, WIDEST_S)
    reach = int(min(float(reach), 0.45 * exposure_s) * rate_hz)
    long = max((end - begin) / rate_hz - LONG_S, 0.0) / LONG_S
    fits = []
    for part, orders, wider in _VARIANTS:
        more = int(min(long, 1.0) * wider * (end - begin))
        fits.append(
            _fit(wave, max(begin - more, 1), min(end + more, len(wave) - 2), int(reach * part), orders)
        )
    seen_within = wave[begin : end + 1]
    rough = float(np.ptp(seen_within)) * (1.0 if np.argmax(seen_within) > np.argmin(seen_within) else -1.0)
    seen = [one for one in fits if one is not None and _is_of(one, rough)]
    if not seen:
        return None
    best, length = seen[0], max((end - begin - 6) / 1.5, 1.0)
    others = [abs(one.at - best.at) for one in seen[1:]]
    spread = max(others, default=0.25 * length)
    # Of blades the ends are guessed at; what that leaves: the spread of the guesses, and a part of the ramp.
    soft = SOFT_ENDS * max(length - LONG_S * rate_hz, 0.0)
    u = float(np.sqrt(best.noise_u**2 + (spread / (1.0 if soft else ROOT3)) ** 2 + soft**2))
    size_spread = float(np.ptp([one.size for one in seen])) / abs(best.size)
    return StepEdge(best.at, u, best.size, size_spread, length, best.unlike)


def _is_of(fit: _Fit, rough: float) -> bool:
    """Whether a fit is of the step that is seen: what sinks behind it while the light still grows hides a part of it.
    A window too wide for its wave finds a step several times as high, or upside down."""
    return 1.0 / MOST_HIDDEN <= fit.size / rough <= MOST_HIDDEN if rough else False


# Window's part, orders of background and answer, and how much wider a long ramp is taken than it looks.
_VARIANTS: tuple[tuple[float, tuple[int, int], float], ...] = (
    (1.0, (2, 3), 0.3),
    (0.7, (2, 3), 0.5),
    (0.7, (1, 2), 0.3),
    (1.0, (2, 3), 0.0),
)


def _ramp(wave: Floats, near: int, rate_hz: float) -> tuple[int, int] | None:
    """First and last sample of the ramp, with a guard on either side."""
    reach = int(WIDEST_S * rate_hz)
    first, last = max(near - reach, 0), min(near + reach, len(wave))
    if last - first < 24:
        return None
    found = _slope(wave[first:last], near - first)
    if found is None:
        return None
    slope, top = found
    steepest = slope[top]
    noise = 1.4826 * float(np.median(np.abs(slope - np.median(slope))))
    ended = slope * np.sign(steepest) < max(
        END_OF_RAMP * abs(steepest), min(3.0 * noise, 0.4 * abs(steepest))
    )
    ended &= np.append(ended[1:], True)
    before, after = np.flatnonzero(ended[: top + 1]), np.flatnonzero(ended[top:])
    begin = first + (int(before[-1]) if before.size else 0)
    end = first + top + (int(after[0]) if after.size else last - first - top)
    guard = 3 + (end - begin) // 4
    return max(begin - guard + 1, 1), min(end + guard, len(wave) - 2)


def _slope(part: Floats, near: int) -> tuple[Floats, int] | None:
    """Change a sample, and where it is steepest about sample `near`; over as many samples as make it stand out of the
    noise, for of slow blades at a fast rate a single step is no more than the noise."""
    rough = np.abs(np.diff(part, 2))
    # Of few bits most samples stand still: the noise is no less than a part of their step.
    bit = float(rough[rough > 0].min(initial=1.0))
    sigma = max(float(np.quantile(rough, 0.683)) / np.sqrt(6.0), BIT * bit)
    for width in WIDTHS:
        mean = np.full(width, 1.0 / width)
        slope = np.convolve(np.diff(part), np.convolve(mean, mean), "same")
        around = slice(max(near - 2 * width, 0), near + 2 * width + 1)
        if not slope[around].size:
            return None
        top = int(np.argmax(np.abs(slope[around]))) + around.start
        if abs(slope[top]) > CLEAR * sigma * np.sqrt(2.0 / width) / width:
            return slope, top
    return None


def _fit(wave: Floats, begin: int, end: int, reach: int, orders: tuple[int, int]) -> _Fit | None:
    """The light in samples begin..end from what lies up to `reach` samples before and after."""
    first, last = max(begin - reach, 0), min(end + reach + 1, len(wave))
    background, answer = orders
    if min(begin - first, last - 1 - end) < 2 * (background + answer):
        return None
    y = wave[first:last]
    scale = float(last - first)
    time = (np.arange(first, last) - 0.5 * (begin + end)) / scale
    inside = np.arange(begin - first, end - first + 1)
    outside = np.ones(len(y), bool)
    outside[inside] = False
    # Light grows between samples: half a step before each sample of the ramp.
    since = np.maximum(time[:, None] - (time[inside][None, :] - 0.5 / scale), 0.0)
    powers = [(since > 0).astype(np.float64), *(since**power for power in range(1, answer + 1))]
    smooth = np.stack([time**power for power in range(background + 1)], axis=1)
    light = np.linspace(0.0, 1.0, len(inside))
    for _ in range(TURNS):
        growth = np.diff(light, prepend=0.0)
        design = np.hstack([smooth, np.stack([power @ growth for power in powers], axis=1)])
        found, *_ = np.linalg.lstsq(design[outside], y[outside], rcond=None)
        size = float(found[background + 1])
        if size == 0.0:
            return None
        known = design[inside] @ found - size * design[inside, background + 1]
        light = (y[inside] - known) / size
        light[-1] = 1.0
    left = y[outside] - design[outside] @ found
    free = max(len(left) - design.shape[1], 1)
    sigma = float(np.sqrt(left @ left / free))
    crossing = _half(light)
    if crossing is None:
        return None
    at, slope, points = crossing
    # How far the half level itself is uncertain: the fit's own covariance at the edge.
    row = np.concatenate(
        [
            smooth[inside[0] + round(at)],
            [0.5],
            [0.5 * abs(time[inside[0]]) ** k for k in range(1, answer + 1)],
        ]
    )
    covariance = np.linalg.pinv(design[outside].T @ design[outside])
    level_u = sigma * float(np.sqrt(max(row @ covariance @ row, 0.0) + 1.0 / points))
    return _Fit(begin + at, level_u / (abs(size) * slope), size, sigma / abs(size))


def _half(light: Floats) -> tuple[float, float, int] | None:
    """Where light passes a half, in samples from its start; its slope there; how many samples told it."""
    above = light >= 0.5
    passes = np.flatnonzero(~above[:-1] & above[1:])
    if not passes.size:
        return None
    at = int(passes[np.argmin(np.abs(passes - 0.5 * len(light)))])
    low, high = at, at + 1
    while low > 0 and light[low] > 0.25 and light[low - 1] < light[low]:
        low -= 1
    while high < len(light) - 1 and light[high] < 0.75 and light[high + 1] > light[high]:
        high += 1
    near = np.arange(low, high + 1)
    if len(near) >= 5:
        curve = np.polyfit(light[near] - 0.5, near, 2)
        crossing, slope = float(curve[2]), 1.0 / max(float(curve[1]), 0.3)
        if low <= crossing <= high:
            return crossing, slope, len(near)
    step = float(light[at + 1] - light[at])
    return at + (0.5 - float(light[at])) / step, step, 1
