"""The skew a rig will have, from its calibration and its sweeps: how large it gets in so many of the pairs."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from scipy.optimize import brentq
from scipy.special import ndtr, ndtri

from coincide.errors import BadInput
from coincide.planning.trace import Link
from coincide.rig.calibration import Calibration
from coincide.rig.model import Body, Rig
from coincide.rig.optics.leaf import effective_exposure_s
from coincide.rig.optics.sweep import SweepSpread, sweep_spread
from coincide.rig.parts import Leaf

COVER_95 = float(ndtri(0.975))


@dataclass(frozen=True, slots=True)
class SkewModel:
    """What is left of the skew with the offset on; seconds.

    jitter_s: standard deviation from pair to pair. offset_u_s: standard uncertainty of the offset, the same
    in all pairs. sweep_s: the largest |skew| that the sweeps add somewhere in the frame, the offset being
    right at frame centre. unequal_s: |tA - tB|/2, by which one exposure outlasts the other at each end.
    sweep: the whole of it. chain: where each comes from.
    """

    jitter_s: float
    offset_u_s: float
    sweep_s: float
    unequal_s: float
    sweep: SweepSpread
    chain: tuple[Link, ...]

    @property
    def random_s(self) -> float:
        """Jitter and uncertainty of the offset together, as a standard deviation."""
        return math.hypot(self.jitter_s, self.offset_u_s)

    def skew_for_rate_s(self, rate: float, sweep_s: float) -> float:
        """The |skew| that a part `rate` of the pairs stays below, where the sweeps add `sweep_s`.

        Taken as normal about sweep_s: P(|skew| <= q) = Phi((q - s)/u) - Phi((-q - s)/u).
        """
        if not 0.0 < rate < 1.0:
            raise BadInput(f"A keeper rate of {rate:g} cannot be had: give one between 0 and 1, such as 0.9.")
        spread_s = self.random_s
        if spread_s == 0.0:
            return abs(sweep_s)

        def excess(limit_s: float) -> float:
            inside = ndtr((limit_s - sweep_s) / spread_s) - ndtr((-limit_s - sweep_s) / spread_s)
            return float(inside) - rate

        return float(brentq(excess, 0.0, abs(sweep_s) + 40.0 * spread_s, xtol=1e-12))


def skew_model(
    rig: Rig,
    calibration: Calibration | None = None,
    *,
    jitter_s: float | None = None,
    offset_u_s: float | None = None,
) -> SkewModel:
    """From a calibration, or from figures given by hand, which win. Raises BadInput where neither is there."""
    jitter, jitter_source = _figure(jitter_s, calibration, "jitter_s")
    if offset_u_s is not None or calibration is None:
        offset_u, offset_source = offset_u_s or 0.0, "given"
    else:
        low, high = calibration.interval_s
        offset_u = (high - low) / 2 / COVER_95
        offset_source = "calibration: interval_s, half its width over 1.96"
    sweep = sweep_spread(rig)
    a, b = (body.shutter.exposure for body in rig.both)
    a_s, b_s = (effective_exposure_s(body) for body in rig.both)
    unequal_s = unequal_exposures_s(rig)
    chain = (
        Link("jitter", jitter * 1e3, "ms", jitter_source),
        Link("standard uncertainty of the offset", offset_u * 1e3, "ms", offset_source),
        Link("exposure of A", a_s * 1e3, "ms", f"rig: bodies.a.shutter.exposure = {a}{_grown(rig.bodies.a)}"),
        Link("exposure of B", b_s * 1e3, "ms", f"rig: bodies.b.shutter.exposure = {b}{_grown(rig.bodies.b)}"),
        Link("unequal exposures, at each end", unequal_s * 1e3, "ms", "computed: |tA - tB| / 2"),
        Link(
            f"sweeps, {sweep.relation}: skew in the worst corner",
            sweep.corner_s * 1e3,
            "ms",
            "computed from rig: bodies.*.shutter.travel, sweep, curve, bodies.*.mount, frame, lens.focal_length",
        ),
    )
    return SkewModel(jitter, offset_u, sweep.corner_s, unequal_s, sweep, chain)


def model_at(model: SkewModel, rig: Rig, subject_m: float) -> SkewModel:
    """The same jitter and offset on a rig, its lenses focused as set or on a subject so far away."""
    spread = sweep_spread(rig, subject_m)
    return replace(model, sweep_s=spread.corner_s, sweep=spread, unequal_s=unequal_exposures_s(rig))


def unequal_exposures_s(rig: Rig) -> float:
    """By how much one exposure outlasts the other at each end, their middles together."""
    a_s, b_s = (effective_exposure_s(body) for body in rig.both)
    return abs(a_s - b_s) / 2


def _grown(body: Body) -> str:
    return ", and longer as its blades are stopped down" if isinstance(body.shutter, Leaf) else ""


def _figure(given: float | None, calibration: Calibration | None, name: str) -> tuple[float, str]:
    if given is not None:
        if given < 0 or not math.isfinite(given):
            raise BadInput(f"A jitter of {given:g} s cannot be: give a time such as '1 ms'.")
        return given, "given"
    if calibration is None:
        raise BadInput(
            "Nothing is known of this rig's jitter: run 'coincide calibrate' for this pair of shutter times, or give "
            "the jitter, such as '1 ms'."
        )
    return float(getattr(calibration, name)), f"calibration: {name}"
