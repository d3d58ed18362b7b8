"""For which light each calibrated pair of shutter times is right."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from coincide.planning.exposure.body import right_ev100
from coincide.rig.calibration import Calibration, Found, stale_reasons
from coincide.rig.model import Rig
from coincide.rig.parts import Leaf
from coincide.units import shutter_time


@dataclass(frozen=True, slots=True)
class PairLight:
    """A calibrated pair at given apertures. right_ev100: of A and of B, lowest and highest reading, EV at ISO 100,
    for which the film's latitude holds it. stale: why the calibration no longer holds; empty when it does."""

    found: Found
    apertures: tuple[float, float]
    right_ev100: tuple[tuple[float, float], tuple[float, float]]
    stale: tuple[str, ...]

    @property
    def preset(self) -> str:
        return self.found.calibration.preset

    @property
    def both_ev100(self) -> tuple[float, float] | None:
        """The readings for which it is right for both bodies; None where there is none."""
        (low_a, high_a), (low_b, high_b) = self.right_ev100
        low, high = max(low_a, low_b), min(high_a, high_b)
        return (low, high) if low <= high else None


def calibrated_pairs(
    rig: Rig, found: Iterable[Found], apertures: tuple[float, float] | None = None
) -> tuple[PairLight, ...]:
    """The newest calibration of each pair of shutter times, at the apertures given or those of the rig; where blades in
    the lens are the shutter, at the aperture it was calibrated with, each by itself. Empty where a film is missing."""
    if any(body.film is None for body in rig.both):
        return ()
    asked = apertures or (rig.bodies.a.lens.aperture, rig.bodies.b.lens.aperture)
    newest: dict[tuple[object, ...], PairLight] = {}
    for one in found:
        first, second = (
            one.calibration.apertures[index] if isinstance(body.shutter, Leaf) else asked[index]
            for index, body in enumerate(rig.both)
        )
        key = (one.calibration.exposures, first, second)
        if key not in newest:
            newest[key] = _light(rig, one, (first, second))
    return tuple(newest.values())


def stale_at_its_aperture(calibration: Calibration, rig: Rig) -> tuple[str, ...]:
    """Why a calibration no longer holds for a rig set to the apertures of that calibration."""
    return stale_reasons(calibration, _at(rig, calibration.apertures))


def _light(rig: Rig, one: Found, apertures: tuple[float, float]) -> PairLight:
    first, second = (
        right_ev100(rig, index, shutter_time(text), apertures[index])
        for index, text in enumerate(one.calibration.exposures)
    )
    return PairLight(one, apertures, (first, second), stale_at_its_aperture(one.calibration, rig))


def _at(rig: Rig, apertures: tuple[float, float]) -> Rig:
    bodies = rig.bodies.model_copy(
        update={
            letter: body.model_copy(update={"lens": body.lens.model_copy(update={"aperture": aperture})})
            for letter, body, aperture in zip("ab", rig.both, apertures, strict=True)
        }
    )
    return rig.model_copy(update={"bodies": bodies})
