"""What can be changed to lower a ghost: each as the rig it would leave, reckoned by the very verdict it is judged by.

A change of a time or an aperture names marks of the body's dial and of the usual row of apertures. It makes another
pair of shutter times, which wants its own calibration; jitter and offset error are taken to stay as they are.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from coincide.planning.verdict import Use, Verdict, verdict
from coincide.rig.model import Body, Rig
from coincide.rig.optics.leaf import effective_exposure_s
from coincide.rig.optics.stops import USUAL_MARKS, aperture_mark, aperture_value
from coincide.rig.optics.turning import advice, facing
from coincide.rig.parts import Mount
from coincide.units import ShutterTime

THIRD = 1 / 3
HALF_A_THIRD = 1 / 6  # by which a mark of the aperture may miss the light that is wanted


@dataclass(frozen=True, slots=True)
class Change:
    """A change to the rig or to the way it is used, what it would leave, and what it costs.

    then: the verdict on the changed rig. saved_m: by how much the total falls, as it is judged in `total_m`.
    """

    say: str
    then: Verdict
    saved_m: float

    @property
    def total_then_m(self) -> float:
        return self.then.ghost.ghost_m


def changes(use: Use, shots: int | None) -> Iterator[Change]:
    """Every change of the ghost that can be reckoned, each by itself."""
    total_m = verdict(use).ghost.ghost_m

    def change(say: str, then: Use, cost: str = "") -> Change:
        found = verdict(then)
        then_m = found.ghost.ghost_m
        became = f"{total_m * 1e6:.3g} um becomes {then_m * 1e6:.3g} um"
        return Change(f"{say}: {became}.{cost}", found, total_m - then_m)

    for paired in (_opened(use.rig), _stopped_down(use)):
        if paired is not None:
            yield change(paired.say, replace(use, rig=paired.rig), f" {paired.cost}")
    turning = advice(use.rig, use.subject.distance_m)
    if turning is not None and (use.subject.point == "corner" or use.rate_rad_s):
        where = f"looking {turning.mount.looks}, " if turning.moves else ""
        yield change(
            f"Mount {'AB'[turning.body]} {where}with the top plate {facing(turning.mount.top_plate)}",
            replace(use, rig=_mounted(use.rig, turning.body, turning.mount)),
        )
    model = use.model
    more = f"Fire {3 * shots} more pairs" if shots else "Fire four times as many pairs"
    yield change(
        f"{more} and calibrate with them", replace(use, model=replace(model, offset_u_s=model.offset_u_s / 2))
    )
    yield change(
        "Halve the jitter (longer half-press, fresh batteries)",
        replace(use, model=replace(model, jitter_s=model.jitter_s / 2)),
    )
    if use.rate_rad_s:
        yield change("Stand the rig on a tripod", replace(use, rate_rad_s=0.0))


def sharpening(use: Use) -> Change | None:
    """The longest marks of both dials that leave the subject's own blur within; None where it is, or none does."""
    now = verdict(use)
    if now.sharp:
        return None
    rig, said, costs = use.rig, [], []
    for index, (body, one) in enumerate(zip(use.rig.both, now.bodies, strict=True)):
        if one.smear_m <= one.allowed_m:
            continue
        longest_s = one.allowed_m / (one.speed_m_s + one.turning_m_s)
        marks = [mark for mark in _dial(body) if effective_exposure_s(body, mark) <= longest_s]
        if not marks:
            return None
        mark = max(marks, key=lambda mark: mark.nominal_s)
        by = _stops(body.shutter.exposure, mark)
        opened_by = min(by, aperture_value(body.lens.aperture) - aperture_value(body.lens.widest))
        aperture = max(aperture_mark(aperture_value(body.lens.aperture) - opened_by), body.lens.widest)
        rig = _set(rig, index, mark, aperture)
        said.append(f"set {body.name} to {mark} at f/{aperture:g}")
        if by - opened_by > HALF_A_THIRD:
            costs.append(f"{body.name} then wants {_plural(by - opened_by)} more light, or a faster film")
    then = verdict(replace(use, rig=rig))
    smears = " and ".join(f"{one.smear_m * 1e6:.3g}" for one in then.bodies)
    cost = f" {'; '.join(costs)}." if costs else ""
    say = f"{' and '.join(said)}: own blur becomes {smears} um.{cost}"
    return Change(say[:1].upper() + say[1:], then, now.ghost.ghost_m - then.ghost.ghost_m)


@dataclass(frozen=True, slots=True)
class _Paired:
    """Both times brought nearer to each other: what to do, the rig it leaves, what it costs."""

    say: str
    rig: Rig
    cost: str


def _opened(rig: Rig) -> _Paired | None:
    """The slower body opened as far as its lens goes, to a time of its dial no shorter than the other's."""
    slow, fast = _slower_first(rig)
    body, other_s = rig.both[slow], rig.both[fast].shutter.exposure.nominal_s
    av = aperture_value(body.lens.aperture)
    reach = av - aperture_value(body.lens.widest) + HALF_A_THIRD
    marks = [
        mark
        for mark in _dial(body)
        if other_s * 0.99 <= mark.nominal_s and THIRD <= _stops(body.shutter.exposure, mark) <= reach
    ]
    if not marks:
        return None
    mark = min(marks, key=lambda mark: mark.nominal_s)
    by = _stops(body.shutter.exposure, mark)
    aperture = max(aperture_mark(av - by), body.lens.widest)
    say = (
        f"Open {body.name} from f/{body.lens.aperture:g} to f/{aperture:g} and shorten its time from "
        f"{body.shutter.exposure} to {mark}"
    )
    return _Paired(say, _set(rig, slow, mark, aperture), "It costs depth of field.")


def _stopped_down(use: Use) -> _Paired | None:
    """The faster body stopped down, or filtered where its lens does not go so far, to a time no longer than the
    other's."""
    rig = use.rig
    slow, fast = _slower_first(rig)
    body, other_s = rig.both[fast], rig.both[slow].shutter.exposure.nominal_s
    marks = [
        mark
        for mark in _dial(body)
        if mark.nominal_s <= other_s * 1.01 and -_stops(body.shutter.exposure, mark) >= THIRD
    ]
    if not marks:
        return None
    mark = max(marks, key=lambda mark: mark.nominal_s)
    by = -_stops(body.shutter.exposure, mark)
    av = aperture_value(body.lens.aperture)
    filtered = f"a filter of {_plural(by)}"
    times = f"lengthen its time from {body.shutter.exposure} to {mark}"
    if by <= aperture_value(body.lens.smallest) - av + HALF_A_THIRD:
        aperture = min(aperture_mark(av + by), body.lens.smallest)
        down = f"from f/{body.lens.aperture:g} to f/{aperture:g} (or put {filtered} before it)"
        say = f"Stop {body.name} down {down} and {times}"
    else:
        aperture = body.lens.aperture
        say = f"Put {filtered} before {body.name} and {times}"
    then = _set(rig, fast, mark, aperture)
    before_m, after_m = (verdict(replace(use, rig=one)).bodies[fast].smear_m for one in (rig, then))
    cost = (
        f"It takes {_plural(by)} of its light, which the longer time gives back; its own blur grows from "
        f"{before_m * 1e6:.3g} to {after_m * 1e6:.3g} um."
    )
    return _Paired(say, then, cost)


def _slower_first(rig: Rig) -> tuple[int, int]:
    a, b = (effective_exposure_s(body) for body in rig.both)
    return (0, 1) if a > b else (1, 0)


def _dial(body: Body) -> tuple[ShutterTime, ...]:
    return body.shutter.marked or USUAL_MARKS


def _stops(longer: ShutterTime, shorter: ShutterTime) -> float:
    """By how many stops the second time is shorter."""
    return math.log2(longer.nominal_s / shorter.nominal_s)


def _plural(stops: float) -> str:
    """'1 stop', '1.3 stops'."""
    return f"{stops:.2g} stop{'' if round(stops, 1) == 1.0 else 's'}"


def _set(rig: Rig, index: int, mark: ShutterTime, aperture: float) -> Rig:
    body = rig.both[index]
    shutter = body.shutter.model_copy(update={"exposure": mark})
    return rig.with_body(index, shutter=shutter, lens=body.lens.model_copy(update={"aperture": aperture}))


def _mounted(rig: Rig, index: int, mount: Mount) -> Rig:
    sides = {"looks": mount.looks, "top_plate": mount.top_plate}
    return rig.with_body(index, mount=rig.both[index].mount.model_copy(update=sides))
