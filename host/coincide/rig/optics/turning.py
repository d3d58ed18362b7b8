"""Would another way of mounting a body leave less skew? Every other way is computed, none is looked up."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

from coincide.rig.model import Rig
from coincide.rig.optics.geometry import AXES, TOP_PLATES, View, scan_words
from coincide.rig.optics.sweep import spread_between, views_of
from coincide.rig.parts import Looks, Mount, TopPlate

WORTH_IT = 0.7  # a change is advised when it leaves less than this part of the spread


@dataclass(frozen=True, slots=True)
class Turning:
    """Another way to mount one body (0 = A, 1 = B). across_s: skew across the frame as it is, and as it would be.

    moves: the body goes to another side of the glass, and is not only turned. say: the advice in a sentence.
    """

    body: int
    mount: Mount
    moves: bool
    across_now_s: float
    across_then_s: float
    scan: str
    say: str


def turnings(rig: Rig, subject_m: float | None = None) -> tuple[Turning, ...]:
    """Every other mount of one body that keeps the common field, least skew first, turning before moving.

    `subject_m`: what lenses without a set focus stand at, as in `views_of`.
    """
    views = views_of(rig, subject_m)
    now_s = spread_between(*views).across_s
    found = [
        _turning(rig, body, mount, view, now_s, spread_between(*_with(views, body, view)).across_s)
        for body in (0, 1)
        for mount, view in _other_mounts(rig, body, subject_m)
        if _field(*_with(views, body, view)) >= _field(*views) * 0.999
    ]
    found.sort(key=lambda one: (round(one.across_then_s, 7), one.moves, one.body == 0))
    return tuple(found)


def advice(rig: Rig, subject_m: float | None = None) -> Turning | None:
    """The turning to recommend, or None where none is worth it.

    Turning a body where it stands beats carrying it to another side of the glass unless that leaves much less.
    """
    worth = [one for one in turnings(rig, subject_m) if one.across_then_s < WORTH_IT * one.across_now_s]
    if not worth:
        return None
    in_place = [one for one in worth if not one.moves]
    if in_place and in_place[0].across_then_s <= worth[0].across_then_s / WORTH_IT + 1e-6:
        return in_place[0]
    return worth[0]


def _turning(rig: Rig, body: int, mount: Mount, view: View, now_s: float, then_s: float) -> Turning:
    moves = mount.looks != rig.both[body].mount.looks
    how = f"looking {mount.looks}, with" if moves else "with"
    say = (
        f"Mount {'AB'[body]} {how} the top plate {facing(mount.top_plate)}: {now_s * 1e3:.1f} ms across the frame "
        f"{'becomes' if then_s < now_s else 'would become'} {then_s * 1e3:.1f} ms. "
        f"Its scan, as its own finder would show the picture, then wants: {scan_words(view)}."
    )
    return Turning(body, mount, moves, now_s, then_s, scan_words(view), say)


def _other_mounts(rig: Rig, body: int, subject_m: float | None) -> Iterator[tuple[Mount, View]]:
    one = rig.both[body]
    looks_possible: list[Looks] = ["straight"] if one.mount.looks == "straight" else [*AXES][1:]
    for looks, top in product(looks_possible, TOP_PLATES):
        if (looks, top) == (one.mount.looks, one.mount.top_plate) or abs(AXES[looks] @ TOP_PLATES[top]) > 0.5:
            continue
        mount = Mount(looks=looks, top_plate=top)
        yield mount, views_of(rig.with_body(body, mount=mount), subject_m)[body]


def _with(views: tuple[View, View], body: int, view: View) -> tuple[View, View]:
    return (view, views[1]) if body == 0 else (views[0], view)


def _field(first: View, second: View) -> float:
    """The part of the scene that both see, as an area in tangents."""
    return 4 * min(first.half_x, second.half_x) * min(first.half_z, second.half_z)


def facing(top_plate: TopPlate) -> str:
    """'towards the scene', 'facing up': for a sentence."""
    return top_plate if top_plate.startswith("towards") else f"facing {top_plate}"
