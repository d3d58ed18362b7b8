"""One meter reading, two bodies: what to set on both, what the difference costs, and the preset it needs."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from coincide.errors import BadInput
from coincide.planning.exposure.body import BodyExposure, body_exposure
from coincide.planning.exposure.light import PairLight, calibrated_pairs
from coincide.planning.exposure.mend import Mend, mend
from coincide.planning.exposure.notes import ms, notes, stops_from_the_reading
from coincide.planning.trace import Link
from coincide.rig.calibration import BODY_LETTERS, Found, preset_name
from coincide.rig.model import Rig
from coincide.rig.optics.stops import Reading, aperture_mark, aperture_value
from coincide.units import ShutterTime


@dataclass(frozen=True, slots=True)
class Opening:
    """What opening the slower body's aperture would do: its settings, the blur left, and the cost in a sentence."""

    body: int
    aperture: float
    mark: ShutterTime
    blur_each_end_s: float
    say: str


@dataclass(frozen=True, slots=True)
class Pairing:
    """Both bodies for one reading.

    standing: both as the rig is set. apart_stops: how much longer B is exposed than A (negative: shorter).
    blur_each_end_s: what that leaves of blur at each end of whatever moves, |tA - tB|/2. preset: name of the pair;
    calibration: the file that holds its offset, or None. mends: of A and of B, None where the film's latitude holds.
    pairs: the calibrated pairs and the light they are right for. why: the sums in sentences, the field's rule of thumb
    among them.
    """

    reading: Reading
    bodies: tuple[BodyExposure, BodyExposure]
    standing: tuple[BodyExposure, BodyExposure]
    apart_stops: float
    blur_each_end_s: float
    preset: str
    calibration: str | None
    opening: Opening | None
    mends: tuple[Mend | None, Mend | None]
    pairs: tuple[PairLight, ...]
    why: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def as_it_stands(self) -> bool:
        """What to set is what is set already."""
        return all(
            (to_set.mark.nominal_s, to_set.aperture) == (now.mark.nominal_s, now.aperture)
            for to_set, now in zip(self.bodies, self.standing, strict=True)
        )


def pair_exposures(
    rig: Rig,
    reading: Reading,
    *,
    apertures: tuple[float | None, float | None] = (None, None),
    found: Iterable[Found] = (),
) -> Pairing:
    """Settings of both bodies from one reading. `apertures`: as marked; None takes a body's own as the rig has it.
    Raises BadInput where the rig names no film."""
    chosen = _apertures(rig, apertures)
    bodies = (body_exposure(rig, 0, reading, chosen[0]), body_exposure(rig, 1, reading, chosen[1]))
    standing = (_standing(rig, 0, reading), _standing(rig, 1, reading))
    pairs = calibrated_pairs(rig, found, chosen)
    exposures = (bodies[0].mark.text, bodies[1].mark.text)
    own = next(
        (
            one
            for one in pairs
            if one.found.calibration.exposures == exposures and _near(one.apertures, chosen)
        ),
        None,
    )
    first, second = (
        None if body.within else mend(rig, index, reading, body) for index, body in enumerate(bodies)
    )
    return Pairing(
        reading=reading,
        bodies=bodies,
        standing=standing,
        apart_stops=math.log2(bodies[1].effective_s / bodies[0].effective_s),
        blur_each_end_s=blur_each_end_s(bodies[0].effective_s, bodies[1].effective_s),
        preset=preset_name(exposures),
        calibration=None if own is None else own.found.path.name,
        opening=_opening(rig, reading, bodies),
        mends=(first, second),
        pairs=pairs,
        why=tuple(stops_from_the_reading(body) for body in bodies),
        warnings=tuple(notes(rig, bodies, (first, second), own)),
    )


def pairing_chain(pairing: Pairing) -> tuple[Link, ...]:
    """Where every figure of a pairing comes from."""
    links = [Link("reading", pairing.reading.ev100, "EV at ISO 100", f"given: {pairing.reading.said}")]
    for body in pairing.bodies:
        links += [
            Link(f"{body.name}: {step.name}", step.stops, "stops", f"rig: {step.source}")
            for step in body.steps
        ]
        links += [
            Link(f"{body.name}: metered time", body.metered_s, "s", "computed: 2^(Av - EV - stops)"),
            Link(f"{body.name}: needed time", body.needed_s, "s", "computed: the film's reciprocity"),
            Link(f"{body.name}: set", body.mark.nominal_s, "s", f"computed: nearest mark, {body.mark}"),
        ]
        if body.grown_stops:
            how = (
                "computed: mark + (opening + closing) / 2 times the part of the area that the aperture covers"
            )
            links.append(Link(f"{body.name}: effective exposure", body.effective_s, "s", how))
    links.append(Link("blur at each end", pairing.blur_each_end_s * 1e3, "ms", "computed: |tA - tB| / 2"))
    return tuple(links)


def blur_each_end_s(first_s: float, second_s: float) -> float:
    """Two exposures centred on each other: how long one goes on alone, before and again after the other."""
    return abs(first_s - second_s) / 2.0


def _standing(rig: Rig, index: int, reading: Reading) -> BodyExposure:
    body = rig.both[index]
    return body_exposure(rig, index, reading, body.lens.aperture, body.shutter.exposure)


def _apertures(rig: Rig, asked: tuple[float | None, float | None]) -> tuple[float, float]:
    chosen = []
    for letter, body, wanted in zip(BODY_LETTERS, rig.both, asked, strict=True):
        lens = body.lens
        if wanted is not None and not lens.widest <= wanted <= lens.smallest:
            raise BadInput(
                f"f/{wanted:g} is outside the range of body {letter.upper()}'s lens, f/{lens.widest:g} to "
                f"f/{lens.smallest:g} (bodies.{letter}.lens)."
            )
        chosen.append(lens.aperture if wanted is None else wanted)
    return (chosen[0], chosen[1])


def _near(some: tuple[float, float], others: tuple[float, float]) -> bool:
    return all(abs(one / other - 1.0) < 0.02 for one, other in zip(some, others, strict=True))


def _opening(rig: Rig, reading: Reading, bodies: tuple[BodyExposure, BodyExposure]) -> Opening | None:
    """The slower body opened until both times agree, or as far as its lens goes; None where it brings nothing."""
    slower = 0 if bodies[0].effective_s > bodies[1].effective_s else 1
    slow, fast = bodies[slower], bodies[1 - slower]
    apart = math.log2(slow.effective_s / fast.effective_s)
    av = aperture_value(slow.aperture)
    can = av - aperture_value(rig.both[slower].lens.widest)
    by = math.floor(3 * min(apart, can) + 1e-6) / 3
    if apart < 1 - 1e-6 or by < 1 / 3:
        return None
    aperture = max(aperture_mark(av - by), rig.both[slower].lens.widest)
    then = body_exposure(rig, slower, reading, aperture)
    left_s = blur_each_end_s(then.effective_s, fast.effective_s)
    now_s = blur_each_end_s(slow.effective_s, fast.effective_s)
    if left_s >= now_s:
        return None
    say = (
        f"Open {slow.name} from f/{slow.aperture:g} to f/{aperture:g} and set {then.mark}: {ms(now_s)} of blur at "
        f"each end becomes {ms(left_s)}. It costs depth of field: {_range(slow.sharp_m)} becomes "
        f"{_range(then.sharp_m)}."
    )
    return Opening(slower, aperture, then.mark, left_s, say)


def _range(sharp_m: tuple[float, float]) -> str:
    far = "infinity" if math.isinf(sharp_m[1]) else f"{sharp_m[1]:.3g} m"
    return f"{sharp_m[0]:.3g} m to {far}"
