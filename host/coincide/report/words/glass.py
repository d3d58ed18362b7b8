"""The optics of the glass as sentences and rows: the answer first, the reasons after it, the table last."""

from __future__ import annotations

from collections.abc import Iterator

from coincide.planning.glass.footprint import Past
from coincide.planning.glass.plan import ARCMINUTE_RAD, GlassPlan
from coincide.report.words.figures import UM, figure, plain
from coincide.report.words.series import who

MM = 1e3
COLUMNS_HEAD = "what"


def answer_line(plan: GlassPlan) -> str:
    """Whether the glass and the pupils will do; alone on its line."""
    size = f"{up_mm(plan.need.width_m)} x {up_mm(plan.need.length_m)} mm"
    if plan.size is None:
        say = f"The glass must be at least {size} (across x along the slope) for both views at the apertures set."
    elif plan.large_enough:
        say = f"The glass is large enough: both views need {size} (across x along the slope)."
    else:
        say = (
            f"The glass is too small: both views need {size} (across x along the slope), {_past_short(plan)}."
        )
    if not plan.in_place and plan.off_m is not None:
        say += f" And {who(plan.rig)[plan.through]} stands {abs(plan.off_m) * MM:.1f} mm out of place."
    return say


def reason_lines(plan: GlassPlan) -> Iterator[str]:
    """Why, in the order a builder needs it."""
    yield from _size_lines(plan)
    yield from _place_lines(plan)
    yield _plate_line(plan)
    yield from _ghost_lines(plan)
    yield _wedge_line(plan)
    yield _polarisation_line(plan)
    yield (
        "Taken: thin lenses with round pupils, a flat plate at 45 degrees, the far background registered. The "
        "transmission and reflection of the rig are taken as those of the coated face."
    )


def columns(plan: GlassPlan) -> tuple[str, ...]:
    """The head of the table: near and far."""
    near_m, far_m = plan.distances_m
    return (COLUMNS_HEAD, f"at {plain(near_m)} m, um", f"at {plain(far_m)} m, um")


def rows(plan: GlassPlan) -> list[tuple[str, ...]]:
    """What each thing costs on film near and far."""
    near, far = plan.millimetres
    wedge = plan.wedge.ghost_rad * plan.image_m
    found = [
        ("a pupil 1 mm to the side or up", near.sideways_m, far.sideways_m),
        ("a pupil 1 mm along its axis, in the corner", near.forward_m, far.forward_m),
        ("the plate's shift, mounted axis to axis", *plan.plate_film_m),
        ("left with both pupils in place, at most", *plan.left_film_m),
        ("picture of the second face", *plan.ghosts[plan.reflected].apart_m),
        (f"second face, by a wedge of {_wedge(plan)}", wedge, wedge),
    ]
    if plan.off_film_m is not None:
        found.insert(0, ("pupils as the rig gives them, in the corner", *plan.off_film_m))
    return [(name, figure(near_m * UM, 3), figure(far_m * UM, 3)) for name, near_m, far_m in found]


def _size_lines(plan: GlassPlan) -> Iterator[str]:
    wanted = plan.need
    names = who(plan.rig)
    each = ", ".join(
        f"{names[index]} at f/{plan.apertures[index]:g} {one.width_m * MM:.0f} x {one.length_m * MM:.0f} mm"
        for index, one in enumerate(plan.needs)
    )
    yield (
        f"Alone: {each}. Along the slope the glass reaches {-wanted.near_m * MM:.1f} mm to the photographer's side of "
        f"where the lens axis meets it, and {wanted.far_m * MM:.1f} mm to the scene's side. Add what the holder covers."
    )
    for index, edges in enumerate(plan.past):
        for past in edges:
            yield _past(names[index], past)
    if plan.size is not None:
        yield (
            "No distance of the pupils makes this glass large enough."
            if plan.room_m is None
            else f"This glass does for pupils up to {_down_mm(plan.room_m)} mm from it (they are at "
            f"{plan.pupil_m * MM:.0f} mm)."
        )


def _past(name: str, past: Past) -> str:
    lost = (
        f"{past.lost_m * MM:.1f} mm of it more than half" if past.lost_m > 0 else "none of it more than half"
    )
    return (
        f"{name} sees past the edge at the {past.side} of the scene: {past.over_m * MM:.1f} mm of glass are missing; "
        f"a strip of {past.dim_m * MM:.1f} mm on film there gets other light, {lost}."
    )


def _past_short(plan: GlassPlan) -> str:
    sides = dict.fromkeys(past.side for edges in plan.past for past in edges)
    return f"and the rig sees past its edge at the {' and '.join(sides)} of the scene"


def _place_lines(plan: GlassPlan) -> Iterator[str]:
    names, where = who(plan.rig), plan.place
    through, reflected = names[plan.through], names[plan.reflected]
    yield (
        f"Entrance pupils: {reflected} {plan.pupil_m * MM:.1f} mm from the glass along its axis; {through} "
        f"{where.to_glass_m * MM:.1f} mm behind the glass along its own{_aside(plan)}. Then both look from one point; "
        f"at most {plan.left_film_m[0] * UM:.1f} um are left near, at the frame's edge, because a slanted plate shows "
        "no pupil quite at one point."
    )
    if plan.off_m is not None and plan.off_film_m is not None and plan.given_m is not None:
        way = "farther from the glass" if plan.off_m > 0 else "nearer to the glass"
        verdict = "within" if plan.in_place else "more than"
        yield (
            f"The rig says {plan.given_m * MM:.1f} mm for {through}: {abs(plan.off_m) * MM:.1f} mm {way} than that, "
            f"{plan.off_film_m[0] * UM:.1f} um in the corner near; {verdict} the {plan.allowed_m * UM:.0f} um allowed."
        )


def _aside(plan: GlassPlan) -> str:
    """Where the pupil behind the glass lies beside the other's turned axis."""
    where = plan.place
    parts = [
        (where.side_m, "to the right of", "to the left of"),
        (where.up_m, "above", "below"),
    ]
    said = [
        f"{abs(value) * MM:.1f} mm {one if value > 0 else other}"
        for value, one, other in parts
        if abs(value) > 5e-5
    ]
    return f", {' and '.join(said)} the other's axis as the glass turns it" if said else ""


def _plate_line(plan: GlassPlan) -> str:
    return (
        f"The plate moves the view through it by {plan.sideways_m * MM:.1f} mm "
        f"({plan.plate_film_m[0] * UM:.1f} um near): mount {who(plan.rig)[plan.through]} so much to the side as said "
        "above, and not axis to axis. A thinner plate moves it less, in proportion."
    )


def _ghost_lines(plan: GlassPlan) -> Iterator[str]:
    for name, ghost in zip(who(plan.rig), plan.ghosts, strict=True):
        yield (
            f"Second face: {name} sees a faint second picture {figure(ghost.apart_m[0] * UM)} um away near, "
            f"{figure(ghost.apart_m[1] * UM)} um far; {ghost.bare_stops:.1f} stops below the main one with that face "
            f"bare, {ghost.coated_stops:.1f} with a coat that reflects 0.5 % (common practice)"
            + (f"; {ghost.own_stops:.1f} as the rig says." if plan.plate.other_face is not None else ".")
        )


def _wedge_line(plan: GlassPlan) -> str:
    turned, apart = plan.wedge.through_rad, plan.wedge.ghost_rad
    said = "" if plan.wedge_given else " (the rig gives none)"
    return (
        f"Wedge: {_wedge(plan)}{said} parts the second face's picture by {figure(apart * plan.image_m * UM)} um at "
        f"every distance, and turns the view through the glass by {figure(turned * plan.image_m * UM)} um, which "
        "registering takes away."
    )


def _wedge(plan: GlassPlan) -> str:
    return f"{figure(plan.wedge.wedge_rad / ARCMINUTE_RAD)} arcmin"


def _polarisation_line(plan: GlassPlan) -> str:
    found = plan.coating
    if found is None:
        return (
            "Polarisation: not reckoned; no single transparent film reflects as much as the rig says. Metal coats "
            "polarise less, many-layered ones as their maker says."
        )
    upright = plan.glass.across[0] > 0.5
    water, on_side = found.water.along_stops, found.water.across_stops
    if not upright:
        water, on_side = on_side, water
    return (
        f"Polarisation: blue sky at right angles to the sun differs between the bodies by up to "
        f"{found.sky.worst_stops:.1f} stop from what other light does, a glint of level water by {abs(water):.1f} stop "
        f"({abs(on_side):.1f} with the rig on its side). Assumed: one quarter-wave film without loss (index "
        f"{found.film_index:.2f}) that reflects {found.reflection:.0%} in the {found.band} band; sky polarised to "
        f"{found.sky.polarised:.0%}, glint wholly. A coat made not to polarise does less."
    )


def up_mm(metres: float) -> str:
    """Whole millimetres, rounded up: a glass that is cut smaller would not do."""
    return str(int(-(-metres * MM // 1)))


def _down_mm(metres: float) -> str:
    return str(int(metres * MM // 1))
