"""What to turn on body B's mount, in sentences and rows."""

from __future__ import annotations

import math

from coincide.ghost.mount.error import MountError, Quantity
from coincide.report.words.numbers import percent
from coincide.rig.model import Rig
from coincide.rig.parts import Screw

MOUNT_COLUMNS = ("on body B", "by", "95 %", "turns of its screw")
_COVER = 2.0  # 95 %, near normal (JCGM 100:2008, 6.3.3)


def mount_lines(found: MountError, rig: Rig) -> list[str]:
    """The answer, then what it rests on, then what software can do and what not."""
    return [
        _answer(found, rig),
        _scale(found, rig),
        *_pupil(found),
        f"Shift, turn and scale, and the slant of far things, software can take out afterwards. What it cannot: "
        f"{percent(found.lost)} of A's frame that B does not show, parallax of what is near, softness.",
        *_sides(found),
        _middles(found),
    ]


def mount_rows(found: MountError, rig: Rig) -> list[list[str]]:
    """One row a movement, as MOUNT_COLUMNS."""
    turn, screws = found.turn, rig.bodies.b.mount.screws
    rows = [
        _turned(turn.pan_left, "its lens to its left", "its lens to its right", screws.pan),
        _turned(turn.tilt_up, "its lens up, towards its top plate", "its lens down", screws.tilt),
        _turned(turn.roll_clockwise, "clockwise, seen from behind it", "anticlockwise", screws.roll),
    ]
    for carried, one, other, screw in (
        (turn.left_m, "to your left", "to your right", screws.sideways),
        (turn.up_m, "up", "down", screws.height),
        (turn.towards_m, "towards the scene", "away from the scene", screws.forward),
    ):
        if carried is not None:
            rows.append(_carried(carried, one, other, screw))
    return rows


def _answer(found: MountError, rig: Rig) -> str:
    turn, name = found.turn, rig.bodies.b.name
    steps = [
        words
        for quantity, words in (
            (
                turn.pan_left,
                f"turn its lens {_degrees(turn.pan_left)} to its {_way(turn.pan_left, 'left', 'right')}",
            ),
            (
                turn.tilt_up,
                f"tilt it {_degrees(turn.tilt_up)} {_way(turn.tilt_up, 'up, towards its top plate', 'down')}",
            ),
            (
                turn.roll_clockwise,
                f"roll it {_degrees(turn.roll_clockwise)} "
                f"{_way(turn.roll_clockwise, 'clockwise', 'anticlockwise')} as seen from behind it",
            ),
            *(
                (carried, f"carry it {_mm(carried)} {_way(carried, one, other)}")
                for carried, one, other in (
                    (turn.left_m, "to your left", "to your right"),
                    (turn.up_m, "up", "down"),
                    (turn.towards_m, "towards the scene", "away from the scene"),
                )
                if carried is not None
            ),
        )
        if quantity.told
    ]
    if not steps:
        return f"{name} (B) lies as well as these two scans can tell: nothing to turn."
    return f"{name} (B): " + ", ".join(steps) + "."


def _scale(found: MountError, rig: Rig) -> str:
    value, u = found.scale.value, found.scale.u
    name = rig.bodies.b.name
    if not found.scale.told:
        return f"Its scale is what the rig file gives, within {_COVER * u * 100:.1f} %."
    size = "larger" if value > 0 else "smaller"
    told = f"{name}'s picture is {abs(value) * 100:.2f} % {size} than the rig file gives "
    told += f"(95 %: +-{_COVER * u * 100:.2f}): as if its lens had {found.focal_length_m.value * 1e3:.1f} mm"
    if math.isfinite(found.focused_m) and found.focused_m < 1000:
        told += f", or were focused at {found.focused_m:.2g} m"
    return told + ", with A's as marked. Refocus, or write the focal length so in the rig file."


def _pupil(found: MountError) -> list[str]:
    if found.things:
        off = [q for q in (found.turn.left_m, found.turn.up_m, found.turn.towards_m) if q is not None]
        if all(not q.told for q in off):
            return ["The entrance pupils lie together as well as the near things can tell."]
        return []
    if found.apart_px:
        return [
            f"Something lies up to {found.apart_px:.1f} px off what fits the rest. If it stood still, that is "
            "parallax: name it and its distance with --near, such as --near 1200 800 '3 m', and the pupils' offset "
            "is told."
        ]
    return [
        "How far the entrance pupils are apart is told by near things that stood still: --near 1200 800 '3 m'."
    ]


def _middles(found: MountError) -> str:
    """What was taken for the middle of each picture."""
    of = [
        f"of the middle of its {'film gate' if shows else 'scan'} ({letter})"
        for letter, shows in zip("AB", found.gate_shows, strict=True)
    ]
    advice = (
        "" if all(found.gate_shows) else " Scan both with the whole gate, or crop both to its edge, alike."
    )
    return (
        f"Taken: the middle of each picture lies within {2e3 * found.gate_u_m[0]:.1f} mm {of[0]} and "
        f"{2e3 * found.gate_u_m[1]:.1f} mm {of[1]}; pan and tilt are known no better than that.{advice}"
    )


def _sides(found: MountError) -> list[str]:
    if found.sides.sure:
        return []
    return [
        f"The scans do not tell which way round they lie; they are taken {found.sides.held}. If one was flipped or "
        "turned after scanning, left and right, or up and down, may change places."
    ]


def _turned(quantity: Quantity, one: str, other: str, screw: Screw | None) -> list[str]:
    turns = ""
    if screw is not None and screw.arm_m is not None:
        turns = f"{abs(quantity.value) / math.atan(screw.pitch_m / screw.arm_m):.2f}"
    return [
        _way(quantity, one, other),
        _degrees(quantity),
        f"+-{_degrees(Quantity(_COVER * quantity.u, 0.0))}",
        turns,
    ]


def _carried(quantity: Quantity, one: str, other: str, screw: Screw | None) -> list[str]:
    turns = "" if screw is None else f"{abs(quantity.value) / screw.pitch_m:.2f}"
    return [_way(quantity, one, other), _mm(quantity), f"+-{_COVER * quantity.u * 1e3:.1f} mm", turns]


def _way(quantity: Quantity, one: str, other: str) -> str:
    return one if quantity.value >= 0 else other


def _degrees(quantity: Quantity) -> str:
    return f"{abs(math.degrees(quantity.value)):.2f} degrees"


def _mm(quantity: Quantity) -> str:
    return f"{abs(quantity.value) * 1e3:.1f} mm"
