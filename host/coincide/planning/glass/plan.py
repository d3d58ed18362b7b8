"""Everything `glass` answers about one rig: from its keys to figures, gathered once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from coincide.errors import BadInput
from coincide.planning.glass.footprint import EDGES, Need, Past, Sight, covers, need, past_edges
from coincide.planning.glass.light import (
    ANTIREFLECTION,
    SKY_POLARISED,
    WATER_POLARISED,
    PolarisedPair,
    bare_face,
    film_that_reflects,
    polarised_pair,
    reflected_ghost_stops,
    transmitted_ghost_stops,
)
from coincide.planning.glass.plate import Glass, WedgeTurns, ghost_shift_m, glass_of, sideways_m, wedge_turns
from coincide.planning.glass.pupils import Field, Millimetre, Place, millimetre, on_film_m, place
from coincide.planning.trace import Link
from coincide.rig.calibration import BODY_LETTERS
from coincide.rig.model import Body, Rig, Splitter
from coincide.rig.optics.geometry import SCENE, view_of
from coincide.rig.optics.thin_lens import body_image_distance_m
from coincide.rig.optics.tolerance import on_film_tolerance_m
from coincide.rig.plate import Plate

ARCMINUTE_RAD = float(np.pi / 180 / 60)
NEAREST_PUPIL_M, FARTHEST_PUPIL_M = 0.01, 3.0


@dataclass(frozen=True, slots=True)
class GhostFigures:
    """The picture of the other face, in one body's view. apart_m: on film, near and far; bare_stops, coated_stops: how
    far below the main picture, without and with a coat against reflections; own_stops: with what the rig says."""

    apart_m: tuple[float, float]
    bare_stops: float
    coated_stops: float
    own_stops: float


@dataclass(frozen=True, slots=True)
class Coating:
    """What polarisation is reckoned with: one film of this index that reflects as much as the rig says, in this band;
    sky and water: how the two pictures part."""

    band: str
    reflection: float
    film_index: float
    sky: PolarisedPair
    water: PolarisedPair


@dataclass(frozen=True, slots=True)
class GlassPlan:
    """All of it. `through`, `reflected`: which body (0 = A, 1 = B). Pairs are in the order A, B.

    covered: whether a glass can cover the views at all. needs, need: rectangle for each, and for both. size: the
    rectangle there is, None where the rig does not say; past: where each view runs past it; room_m: the farthest the
    pupil that sees the reflection may stand from this glass. distances_m: near and far. image_m: lens to film.
    given_m: pupil to glass of the body behind it, as the rig says, and off_m what is between that and where it belongs
    (positive: too far from the glass). plate_m: what the plate's sideways shift costs on film near and far if it is
    not met; left_m: what no place of the pupils removes, near, at most in the frame.
    """

    rig: Rig
    plate: Plate
    glass: Glass
    through: int
    reflected: int
    sights: tuple[Sight, Sight]
    apertures: tuple[float, float]
    needs: tuple[Need, Need]
    need: Need
    size: Need | None
    past: tuple[tuple[Past, ...], tuple[Past, ...]]
    room_m: float | None
    distances_m: tuple[float, float]
    image_m: float
    place: Place
    pupil_m: float
    given_m: float | None
    off_m: float | None
    off_film_m: tuple[float, float] | None
    millimetres: tuple[Millimetre, Millimetre]
    sideways_m: float
    plate_film_m: tuple[float, float]
    left_film_m: tuple[float, float]
    ghosts: tuple[GhostFigures, GhostFigures]
    wedge: WedgeTurns
    wedge_given: bool
    coating: Coating | None
    allowed_m: float

    @property
    def large_enough(self) -> bool:
        return not any(self.past)

    @property
    def in_place(self) -> bool:
        """The pupils, as the rig gives them, cost no more near than is allowed on film."""
        return self.off_film_m is None or self.off_film_m[0] <= self.allowed_m

    @property
    def chain(self) -> tuple[Link, ...]:
        return tuple(_chain(self))


def glass_plan(
    rig: Rig,
    *,
    near_m: float = 2.0,
    far_m: float | None = None,
    pupil_m: float | None = None,
    apertures: tuple[float | None, float | None] = (None, None),
) -> GlassPlan:
    """The optics of the rig's glass. `pupil_m`: of the body that sees the reflection, in place of the rig's key.

    Raises BadInput where the rig says too little, or no glass can be long enough.
    """
    splitter, plate = _plate(rig)
    reflected = 0 if splitter.a == "reflected" else 1
    through = 1 - reflected
    looks = rig.both[reflected].mount.looks
    glass = glass_of(plate, looks)
    used_m = pupil_m or rig.both[reflected].mount.pupil_m
    if used_m is None:
        raise BadInput(
            f"bodies.{BODY_LETTERS[reflected]}.mount.pupil is missing: give how far the lens's entrance pupil is from "
            "the glass, along the lens axis, such as '90 mm', or try one with --pupil."
        )
    far_m = far_m or _far_m(rig)
    if not 0 < near_m <= far_m:
        raise BadInput(f"--near is {near_m:g} m and --far {far_m:g} m: near must not be farther than far.")
    fields = tuple(_field(rig, index, glass) for index in (0, 1))
    stops = tuple(asked or body.lens.aperture for asked, body in zip(apertures, rig.both, strict=True))
    where = place(glass, looks, used_m, fields[0].common(fields[1]))
    given_m = rig.both[through].mount.pupil_m
    off_m = None if given_m is None or pupil_m is not None else given_m - where.to_glass_m
    sights = _sights(rig, (fields[0], fields[1]), (stops[0], stops[1]), where, through, off_m or 0.0)
    needs = (need(glass, sights[0]), need(glass, sights[1]))
    both = needs[0].joined(needs[1])
    size = _size(plate, both)
    past = tuple(() if size is None else past_edges(glass, sight, size) for sight in sights)
    image_m = max(body_image_distance_m(body, far_m) for body in rig.both)
    distances_m = (near_m, far_m)
    common = fields[0].common(fields[1])
    turns_rad = ARCMINUTE_RAD if plate.wedge_rad is None else plate.wedge_rad
    corner = np.array([common.half_x, 1.0, common.half_z])
    return GlassPlan(
        rig=rig,
        plate=plate,
        glass=glass,
        through=through,
        reflected=reflected,
        sights=sights,
        apertures=(stops[0], stops[1]),
        needs=needs,
        need=both,
        size=size,
        past=(past[0], past[1]),
        room_m=None if size is None else _room_m(rig, plate, glass, (stops[0], stops[1])),
        distances_m=distances_m,
        image_m=image_m,
        place=where,
        pupil_m=used_m,
        given_m=given_m,
        off_m=off_m,
        off_film_m=None
        if off_m is None
        else _near_far(lambda at: on_film_m(SCENE * off_m, corner, image_m, at), distances_m),
        millimetres=(
            millimetre(common, image_m, near_m),
            millimetre(common, image_m, far_m),
        ),
        sideways_m=sideways_m(glass),
        plate_film_m=(sideways_m(glass) * image_m / near_m, sideways_m(glass) * image_m / far_m),
        left_film_m=(where.left_m * image_m / near_m, where.left_m * image_m / far_m),
        ghosts=(
            _ghost(rig, splitter, plate, glass, 0, through, distances_m),
            _ghost(rig, splitter, plate, glass, 1, through, distances_m),
        ),
        wedge=wedge_turns(glass, turns_rad),
        wedge_given=plate.wedge_rad is not None,
        coating=_coating(rig, splitter, glass, reflected),
        allowed_m=min(on_film_tolerance_m(rig, 0), on_film_tolerance_m(rig, 1)),
    )


def _plate(rig: Rig) -> tuple[Splitter, Plate]:
    if rig.splitter is None:
        raise BadInput("The rig has no [splitter]: two bodies side by side look through no glass.")
    if rig.splitter.plate is None:
        raise BadInput(
            'splitter.plate is missing: add [splitter.plate] with thickness = "3 mm" (or what yours measures) to the '
            "rig."
        )
    return rig.splitter, rig.splitter.plate


def _far_m(rig: Rig) -> float:
    """The rig's own subject, else what the lenses are focused on, else far enough."""
    if rig.tolerance.subject is not None:
        return rig.tolerance.subject.distance_m
    focused = [body.lens.focused_m for body in rig.both if body.lens.focused_m is not None]
    return max(focused, default=15.0)


def _field(rig: Rig, index: int, glass: Glass) -> Field:
    body = rig.both[index]
    view = view_of(body)
    field = Field(view.half_x, view.half_z)
    if not covers(glass, field):
        raise BadInput(
            f"No glass is long enough for body {'AB'[index]}: its view (bodies.{BODY_LETTERS[index]}.frame and "
            "lens.focal_length) reaches 45 degrees from its axis, where it runs along the glass; use a longer lens or "
            "turn the frame the other way."
        )
    return field


def _sights(
    rig: Rig,
    fields: tuple[Field, Field],
    apertures: tuple[float, float],
    where: Place,
    through: int,
    off_m: float,
) -> tuple[Sight, Sight]:
    def sight(index: int) -> Sight:
        f_m = rig.both[index].lens.focal_length_m
        pupil = where.pupil - SCENE * off_m if index == through else where.reflected
        return Sight(index == through, pupil, f_m / apertures[index] / 2.0, fields[index], f_m)

    return sight(0), sight(1)


def _size(plate: Plate, wanted: Need) -> Need | None:
    """The plate there is, placed as the rig says, or as it covers most."""
    if plate.width_m is None or plate.length_m is None:
        return None
    near_m = plate.near_edge_m
    if near_m is None:
        near_m = -wanted.near_m + (plate.length_m - wanted.length_m) / 2.0
    return Need(-near_m, plate.length_m - near_m, -plate.width_m / 2.0, plate.width_m / 2.0)


def _room_m(rig: Rig, plate: Plate, glass: Glass, apertures: tuple[float, float]) -> float | None:
    """How far from the glass the pupil of the reflected view may be, for this plate; None where it is too small."""
    assert rig.splitter is not None
    through = 1 if rig.splitter.a == "reflected" else 0
    looks = rig.both[1 - through].mount.looks
    fields = (_field(rig, 0, glass), _field(rig, 1, glass))

    def fits(pupil_m: float) -> bool:
        where = place(glass, looks, pupil_m, fields[0].common(fields[1]))
        sights = _sights(rig, fields, apertures, where, through, 0.0)
        wanted = need(glass, sights[0]).joined(need(glass, sights[1]))
        size = _size(plate, wanted)
        return size is not None and all(wanted.at(edge) <= size.at(edge) + 1e-9 for edge in EDGES)

    low, high = NEAREST_PUPIL_M, FARTHEST_PUPIL_M
    if not fits(low):
        return None
    while high - low > 1e-4:
        middle = (low + high) / 2.0
        low, high = (middle, high) if fits(middle) else (low, middle)
    return low


def _near_far(cost: Callable[[float], float], distances_m: tuple[float, float]) -> tuple[float, float]:
    return cost(distances_m[0]), cost(distances_m[1])


def _ghost(
    rig: Rig,
    splitter: Splitter,
    plate: Plate,
    glass: Glass,
    index: int,
    through: int,
    distances_m: tuple[float, float],
) -> GhostFigures:
    body = rig.both[index]
    band = splitter.bands[_band(splitter, body)]
    bare = bare_face(plate.index, glass.incidence_rad).mean
    own = bare if plate.other_face is None else plate.other_face

    def stops(other: float) -> float:
        if index == through:
            return transmitted_ghost_stops(band.reflection, other)
        if band.reflection == 0:
            return 0.0
        return reflected_ghost_stops(
            band.reflection, band.transmission, other, behind=glass.reflects_in_front
        )

    apart = float(ghost_shift_m(glass, SCENE)) * glass.normal
    image_m = body_image_distance_m(body, distances_m[1])
    on_film = _near_far(lambda at: on_film_m(apart, SCENE, image_m, at), distances_m)
    return GhostFigures(on_film, stops(bare), stops(ANTIREFLECTION), stops(own))


def _band(splitter: Splitter, body: Body) -> str:
    return body.film.band if body.film is not None else next(iter(splitter.bands))


def _coating(rig: Rig, splitter: Splitter, glass: Glass, reflected: int) -> Coating | None:
    """None where no single film reflects so much: then nothing is said."""
    name = _band(splitter, rig.both[1 - reflected])
    reflection = splitter.bands[name].reflection
    found = film_that_reflects(reflection, glass.index, glass.incidence_rad)
    if found is None:
        return None
    index, reflect = found
    return Coating(
        name,
        reflection,
        index,
        polarised_pair(reflect, SKY_POLARISED),
        polarised_pair(reflect, WATER_POLARISED),
    )


def _chain(plan: GlassPlan) -> Iterator[Link]:
    mm, um = 1e3, 1e6
    near_m, far_m = plan.distances_m
    letter = BODY_LETTERS[plan.reflected]
    yield Link("thickness", plan.plate.thickness_m * mm, "mm", "rig: splitter.plate.thickness")
    yield Link("index", plan.plate.index, "", "rig: splitter.plate.index")
    yield Link(
        "pupil to glass", plan.pupil_m * mm, "mm", f"rig: bodies.{letter}.mount.pupil, or given: --pupil"
    )
    yield Link("near", near_m, "m", "given: --near")
    yield Link("far", far_m, "m", "given: --far, or rig: tolerance.subject.distance")
    yield Link("lens to film b", plan.image_m * mm, "mm", "computed: f (1 + m), the longer of both")
    yield Link(
        "length of glass", plan.need.length_m * mm, "mm", "computed: rays from pupil rim to frame edge"
    )
    yield Link("width of glass", plan.need.width_m * mm, "mm", "computed: the same, across")
    yield Link(
        "one mm sideways, near", plan.millimetres[0].sideways_m * um, "um", "computed: 1 mm times b / D"
    )
    yield Link(
        "one mm sideways, far", plan.millimetres[1].sideways_m * um, "um", "computed: 1 mm times b / D"
    )
    yield Link(
        "plate moves the axis",
        plan.sideways_m * mm,
        "mm",
        "computed: t sin a (1 - cos a / sqrt(n^2 - sin^2 a))",
    )
    yield Link("on film, near", plan.plate_film_m[0] * um, "um", "computed: that times b / D")
    yield Link(
        "ghost, near",
        plan.ghosts[0].apart_m[0] * um,
        "um",
        "computed: t sin 2a / sqrt(n^2 - sin^2 a) times b / D",
    )
    if plan.coating is not None:
        yield Link(
            "film index", plan.coating.film_index, "", "computed: one film that reflects what the rig says"
        )
