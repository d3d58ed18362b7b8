"""How far body B's mount is off, from a pair of scans of things that stood still.

Both pictures are projected through ideal lenses with the rig's image distances. What lies far away says how B's view
is turned against A's and how its scale differs; things near by, at distances the person knows, say how far the
entrance pupils are apart. The turn of the *view* is carried back through the glass to the turn of the *body*.

Scene axes as in `rig.geometry`: x right, y towards the scene, z up. Angles in radians, lengths in metres, places in
pixels. Uncertainties are standard; the words give twice that, for 95 %.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

from coincide.errors import BadInput
from coincide.ghost.mount.projection import PARAMETERS, PUPIL, SCALE, TURN, Projection
from coincide.ghost.mount.sides import Sides, sides_of
from coincide.rig.model import Body, Rig
from coincide.rig.optics.geometry import body_axes, reflection
from coincide.rig.optics.thin_lens import body_image_distance_m
from coincide.scans.moved.refine import refine
from coincide.scans.pair import Compared
from coincide.scans.register.gate import Gate

Floats = npt.NDArray[np.float64]

FAR_M = math.inf
LEAST_PLACES = 16
FILM_WANDER_M = 0.1e-3  # where film lies in its gate from frame to frame (common practice, no source)
GAUGE_U = 0.001  # between two scans of one scanner (common practice, no source)
_GATE_EDGE_PX = 0.5  # of the copy the gate is found in: how well its middle is known
_PUPIL_PRIOR_M = 0.1  # nobody mounts pupils further apart than that and calls it one rig
_BLOCKS = 5
_CELL_PX, _CELLS = 16, 4  # of a near thing: cells of so many pixels, so many across
_TILES_AROUND = 4
_LEAST_SCORE = 0.3  # agreement below it is what grain makes up


@dataclass(frozen=True, slots=True)
class NearThing:
    """Something that stood still at a known distance: its place in A (x, y), pixels; metres from the lens."""

    place_px: tuple[float, float]
    distance_m: float


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value and its standard uncertainty, in SI units."""

    value: float
    u: float

    @property
    def told(self) -> bool:
        """Whether it differs from zero at 95 %."""
        return abs(self.value) > 2.0 * self.u


@dataclass(frozen=True, slots=True)
class Turn:
    """What would bring body B right, as one does it standing behind that body: radians.

    pan_left: turn its lens to its own left (about its top plate). tilt_up: raise its lens towards its top plate.
    roll_clockwise: seen from behind it. left_m, up_m, towards_m: carry the body, in the room, as the photographer
    stands who faces the scene; None where no near thing told.
    """

    pan_left: Quantity
    tilt_up: Quantity
    roll_clockwise: Quantity
    left_m: Quantity | None
    up_m: Quantity | None
    towards_m: Quantity | None


@dataclass(frozen=True, slots=True)
class MountError:
    """How B's view lies against A's, and what that asks of body B.

    view_right, view_up: how far B's view points too far right and up in the scene; view_clockwise: how far B's
    picture, laid on A's unturned, leans clockwise. scale: B's picture over what the rig gives, less 1. focal_length_m:
    the focal length of B that this scale means, with A's as marked. focused_m: or the distance at which B would be
    focused (NaN where the scale is not that of any). shift_px: what the turn of the view moves in frame centre, pixels
    of A (right, down). lost: part of A's frame that B does not show. far_rms_px: what is left of the far places after
    turn and scale, pixels of A. apart_px: the most that anything is seen to lie off the map of what stood still:
    parallax, where it did not move. sides: which way round the scans were taken to be. gate_u_m: how well each
    picture's middle is known in its scan, metres on film; gate_shows: whether by its film gate.
    """

    view_right: Quantity
    view_up: Quantity
    view_clockwise: Quantity
    scale: Quantity
    focal_length_m: Quantity
    focused_m: float
    turn: Turn
    shift_px: tuple[float, float]
    lost: float
    far_rms_px: float
    apart_px: float
    sides: Sides
    gate_u_m: tuple[float, float]
    gate_shows: tuple[bool, bool]
    things: int
    distance_m: float


def mount_error(
    compared: Compared,
    rig: Rig,
    near: Sequence[NearThing] = (),
    distance_m: float = FAR_M,
) -> MountError:
    """Body B's mount against body A's, from a registered pair of a scene that stood still.

    `distance_m`: of what the registration holds to, infinite for a landscape. Raises BadInput where a scan has no
    resolution, where too few places stood still, or where a near thing has nothing to hold on to.
    """
    pitches = _pitches_m(compared, rig)
    sides = sides_of(rig, compared.registration.alignment)
    through = Projection(
        (compared.registration.frame_a_px, compared.registration.frame_b_px),
        (_middle_px(compared, 0), _middle_px(compared, 1)),
        pitches,
        (_image_m(rig.bodies.a), _image_m(rig.bodies.b)),
        sides,
    )
    held = compared.registration.still
    a_px = compared.registration.tiles_px[held]
    if len(a_px) < LEAST_PLACES:
        raise BadInput(f"Only {len(a_px)} places stood still: {LEAST_PLACES} are needed to tell how B lies.")
    gauge = compared.registration.alignment.gauge
    b_px = compared.registration.alignment.to_b(a_px) + compared.registration.off_px[held] * gauge
    places = [_seen_at(compared, thing) for thing in near]
    fit = _fit(through, a_px, b_px, places, near, distance_m)
    return _result(compared, rig, through, fit, len(near), distance_m)


# -- the fit --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Fit:
    values: Floats
    covariance: Floats
    rms_px: float


def _fit(
    through: Projection,
    a_px: Floats,
    b_px: Floats,
    near_b: Sequence[tuple[Floats, float]],
    near: Sequence[NearThing],
    distance_m: float,
) -> _Fit:
    """Weighted least squares over far places and near things; the covariance allows for places that err together."""
    far = np.full(len(a_px), distance_m)
    near_px = np.array([thing.place_px for thing in near]).reshape(-1, 2)
    near_m = np.array([thing.distance_m for thing in near])
    seen = np.array([at for at, _ in near_b]).reshape(-1, 2)
    near_u = np.array([u for _, u in near_b])

    def residuals(parameters: Floats, deviation: float, inflated: float) -> Floats:
        parts = [((b_px - through.to_b(a_px, parameters, far)) / (deviation * inflated)).ravel()]
        if len(near_px):
            off = seen - through.to_b(near_px, parameters, near_m)
            parts.append((off / near_u[:, None]).ravel())
        parts.append(parameters[PUPIL] / _PUPIL_PRIOR_M)
        return np.concatenate(parts)

    start = np.zeros(PARAMETERS)
    rough = least_squares(residuals, start, args=(1.0, 1.0), loss="soft_l1", x_scale="jac")
    off = b_px - through.to_b(a_px, rough.x, far)
    deviation = max(1.4826 * float(np.median(np.abs(off))), 0.02)
    inflated = _err_together(a_px, np.clip(off / deviation, -3, 3))
    found = least_squares(residuals, rough.x, args=(deviation, inflated), loss="soft_l1", x_scale="jac")
    jacobian: Floats = np.asarray(found.jac, np.float64)
    covariance: Floats = np.asarray(np.linalg.pinv(jacobian.T @ jacobian), np.float64)
    off = b_px - through.to_b(a_px, found.x, far)
    return _Fit(found.x, covariance, math.sqrt(float((off**2).sum(axis=1).mean())))


def _err_together(a_px: Floats, off: Floats) -> float:
    """By how much neighbours' common errors widen the deviation: means over blocks against single places."""
    edges = [np.linspace(a_px[:, k].min(), a_px[:, k].max() + 1e-6, _BLOCKS + 1) for k in (0, 1)]
    cell = [np.clip(np.searchsorted(edges[k], a_px[:, k], "right") - 1, 0, _BLOCKS - 1) for k in (0, 1)]
    block = cell[0] * _BLOCKS + cell[1]
    worth = []
    for one in np.unique(block):
        inside = off[block == one]
        if len(inside) >= 3:
            worth.append(len(inside) * float((inside.mean(axis=0) ** 2).mean()))
    single = float((off**2).mean())
    return math.sqrt(max(1.0, float(np.mean(worth)) / single)) if worth and single > 0 else 1.0


# -- what is put in --------------------------------------------------------------------------------


def _pitches_m(compared: Compared, rig: Rig) -> tuple[float, float]:
    pitches = []
    for scan, body, letter in zip((compared.a, compared.b), rig.both, "ab", strict=True):
        if scan.pitch_um is not None:
            pitches.append(scan.pitch_um * 1e-6)
        elif body.scan_pitch_m is not None:
            pitches.append(body.scan_pitch_m)
        else:
            raise BadInput(
                f"{scan.name} does not say its resolution: give --dpi, or bodies.{letter}.scan in the rig file."
            )
    return pitches[0], pitches[1]


def _image_m(body: Body) -> float:
    return body_image_distance_m(body, math.inf)


def _middle_px(compared: Compared, which: int) -> Floats:
    """Where the lens axis meets a scan: in the middle of its film gate, where that shows on all sides, else of the scan
    itself."""
    gate = compared.gates[which]
    return (np.array(gate.size_px) - 1) / 2 if gate.middle_px is None else gate.middle_px


def _gate_u_m(gate: Gate, pitch_m: float, body: Body) -> float:
    """How well the middle of the picture is known in its scan: film in the gate, and the gate's edge where it
    shows, else a crop or rim of unknown place."""
    if gate.picture_px is not None:
        return math.hypot(FILM_WANDER_M, _GATE_EDGE_PX * gate.factor * pitch_m)
    sides = sorted(n * pitch_m for n in gate.size_px)
    frame = sorted((body.frame.width_m, body.frame.height_m))
    spare = max(abs(have - want) / 2 for have, want in zip(sides, frame, strict=True))
    return math.hypot(FILM_WANDER_M, spare / math.sqrt(3))


def _seen_at(compared: Compared, thing: NearThing) -> tuple[Floats, float]:
    """Where B shows a near thing (pixels of B) and its standard uncertainty there."""
    registration = compared.registration
    place, gauge = np.array(thing.place_px), registration.alignment.gauge
    cell_px = _CELL_PX * registration.factor
    steps = (np.arange(_CELLS) - _CELLS / 2) * cell_px
    corners = np.stack(np.meshgrid(*(place[:, None] + steps)), axis=-1).reshape(-1, 2)
    guess = _guess(compared, place)
    found = refine(compared.a, compared.b, registration, corners, cell_px, guess, registration.factor)
    if found is None or found.score < _LEAST_SCORE:
        raise BadInput(
            f"At {place[0]:.0f}, {place[1]:.0f} nothing was recognised in both scans: name a place with texture."
        )
    u_px = math.hypot(float(found.u_px.max()), float(registration.trust.u_px(place)))
    return registration.alignment.to_b(place + found.by_px), u_px * gauge


def _guess(compared: Compared, place: Floats) -> Floats:
    """How far off the map a place lies, roughly: by the region that holds it, else by the tiles around."""
    for region in compared.motion.regions:
        x0, y0, x1, y1 = region.box_px
        if x0 <= place[0] <= x1 and y0 <= place[1] <= y1:
            return np.array(region.by_px)
    registration = compared.registration
    around = np.argsort(np.linalg.norm(registration.tiles_px - place, axis=1))[:_TILES_AROUND]
    return np.asarray(np.median(registration.off_px[around], axis=0))


# -- what comes out --------------------------------------------------------------------------------


def _result(
    compared: Compared, rig: Rig, through: Projection, fit: _Fit, things: int, distance_m: float
) -> MountError:
    registration = compared.registration
    sizes = (registration.frame_a_px, registration.frame_b_px)
    gate_u = tuple(
        _gate_u_m(gate, pitch, body)
        for gate, pitch, body in zip(compared.gates, through.pitches_m, rig.both, strict=True)
    )
    covariance = fit.covariance.copy()
    for body in rig.both:
        covariance[1, 1] += (FILM_WANDER_M / max(body.frame.width_m, body.frame.height_m)) ** 2
    aim_u2 = sum((u / image) ** 2 for u, image in zip(gate_u, through.image_m, strict=True))
    covariance[0, 0] += aim_u2
    covariance[2, 2] += aim_u2
    covariance[SCALE, SCALE] += GAUGE_U**2
    turn, pupil = fit.values[TURN], fit.values[PUPIL]
    scale = Quantity(math.expm1(fit.values[SCALE]), math.sqrt(covariance[SCALE, SCALE]))
    length_m = rig.bodies.b.lens.focal_length_m
    grid = np.stack(np.meshgrid(*(np.linspace(0, n - 1, 41) for n in sizes[0])), axis=-1).reshape(-1, 2)
    there = registration.alignment.to_b(grid)
    seen = ((there >= -0.5) & (there <= np.array(sizes[1]) - 0.5)).all(axis=1)
    tangent = np.array([turn[2], -turn[0]]) * through.image_m[0] / through.pitches_m[0]
    shift = np.linalg.inv(through.sides.a) @ tangent
    gauge = registration.alignment.gauge
    return MountError(
        view_right=Quantity(-float(turn[2]), math.sqrt(covariance[2, 2])),
        view_up=Quantity(float(turn[0]), math.sqrt(covariance[0, 0])),
        view_clockwise=Quantity(-float(turn[1]), math.sqrt(covariance[1, 1])),
        scale=scale,
        focal_length_m=Quantity(length_m * (1 + scale.value), length_m * scale.u),
        focused_m=_focused_m(rig.bodies.b, through.image_m[1] * (1 + scale.value)),
        turn=_turn(rig.bodies.b, turn, pupil, covariance, told=things > 0),
        shift_px=(float(shift[0]), float(shift[1])),
        lost=float(1 - seen.mean()),
        far_rms_px=fit.rms_px / gauge,
        apart_px=max((region.length_px for region in compared.motion.regions), default=0.0),
        sides=through.sides,
        gate_u_m=(gate_u[0], gate_u[1]),
        gate_shows=(compared.gates[0].middle_px is not None, compared.gates[1].middle_px is not None),
        things=things,
        distance_m=distance_m,
    )


def _turn(body: Body, turn: Floats, pupil: Floats, covariance: Floats, *, told: bool) -> Turn:
    """The view's turn and place, through the glass, to what is done to the body (a turn is an axial vector)."""
    glass = reflection(body.mount)
    sign = float(np.linalg.det(glass))
    right, top, axis = body_axes(body.mount)
    back = -sign * glass  # of the body, to take the error away
    turned, spread = back @ turn, back @ covariance[TURN, TURN] @ back.T

    def about(direction: Floats) -> Quantity:
        return Quantity(float(direction @ turned), math.sqrt(float(direction @ spread @ direction)))

    carried, carried_u = -glass @ pupil, np.sqrt(np.diag(glass @ covariance[PUPIL, PUPIL] @ glass.T))
    moves = [Quantity(float(v), float(u)) for v, u in zip(carried, carried_u, strict=True)] if told else None
    return Turn(
        pan_left=about(top),
        tilt_up=about(right),
        roll_clockwise=about(axis),
        left_m=Quantity(-moves[0].value, moves[0].u) if moves else None,
        up_m=moves[2] if moves else None,
        towards_m=moves[1] if moves else None,
    )


def _focused_m(body: Body, image_m: float) -> float:
    """Distance at which a lens of the marked focal length has this image distance: b = f (1 + m)."""
    length_m = body.lens.focal_length_m
    beyond = image_m - length_m
    return length_m * image_m / beyond if beyond > 0 else math.nan
