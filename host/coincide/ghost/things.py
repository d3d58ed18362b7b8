"""What a person says of the things in a frame, and what `scans --json` saved of them, made into `Thing`s."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from coincide.errors import BadInput
from coincide.ghost.evidence import Known, Thing
from coincide.ghost.held import Held, held_of, place_in_scene
from coincide.ghost.scan_result import Region
from coincide.ghost.verdict import COVER
from coincide.rig.calibration import Found, learned_for, newest_for
from coincide.rig.model import Rig
from coincide.session.frames import Frame
from coincide.units import quantity

_LEVEL = {"right": (1.0, 0.0), "left": (-1.0, 0.0)}
_STEEP = {"down": (0.0, 1.0), "up": (0.0, -1.0)}
_SLANT = {
    f"{steep}-{level}": (x * math.sqrt(0.5), y * math.sqrt(0.5))
    for steep, (_, y) in _STEEP.items()
    for level, (x, _) in _LEVEL.items()
}
WAYS = {**_LEVEL, **_STEEP, **_SLANT}
_RADIAL = {"towards": 1.0, "away": -1.0}
# Without scans, a person measuring through a loupe: to about a tenth of the customary circle of confusion.
BY_HAND_U_M = 3e-6
Pair = tuple[float, float]

_LEAST_SLANT = 0.3  # part of the way that lies across the edge: below it a small error is made large
_PIXELS = re.compile(r"([-+]?\d+(?:\.\d*)?)\s*(?:px|pixels?)")


@dataclass(frozen=True, slots=True)
class Speed:
    """A speed as written: speed_m_s None where unknown, 0 where still; way a key of WAYS, 'towards', 'away' or ''."""

    speed_m_s: float | None
    way: str


def speed_of(text: str) -> Speed:
    """'15 km/h', '15 km/h right', '2 m/s towards', 'unknown', 'still'. Raises BadInput for anything else."""
    words = text.strip().lower().split()
    way = words[-1] if words and words[-1] in (*WAYS, *_RADIAL) else ""
    rest = " ".join(words[:-1] if way else words)
    if rest in ("unknown", "?"):
        return Speed(None, way)
    if rest == "still":
        return Speed(0.0, "")
    try:
        speed = quantity(rest, "speed")
    except BadInput as refused:
        raise BadInput(
            f"{refused} With a way if it is known, as in '5 km/h right' (left, up, down, up-left and so on, towards, "
            "away); or 'unknown', or 'still'."
        ) from None
    if speed < 0:
        raise BadInput(f"'{text}': a speed is not negative; say which way instead, such as '5 km/h left'.")
    return Speed(speed, way)


def thing_of(
    rig: Rig,
    number: int,
    apart: str,
    speed: str,
    distance: str,
    place: tuple[float, float] | None,
    u_m: float | None,
) -> Thing:
    """A thing measured by hand: `apart` is '120 um' or '18 px'; with a sign, + is further along its way in B.
    `place` None: not said."""
    said, pitch = speed_of(speed), rig.bodies.a.scan_pitch_m
    in_pixels = _PIXELS.fullmatch(apart.strip())
    if in_pixels and pitch is None:
        raise BadInput(
            f"'{apart}': how long a pixel is on film is not known; give bodies.a.scan in the rig, or um."
        )
    length = float(in_pixels[1]) * (pitch or math.nan) if in_pixels else quantity(apart, "length")
    default_u = pitch / 2 if pitch is not None else BY_HAND_U_M
    return Thing(
        name=f"thing {number}",
        apart_m=length,
        u_m=u_m if u_m is not None else default_u,
        distance_m=quantity(distance, "length"),
        speed_m_s=said.speed_m_s,
        signed=apart.strip()[0] in "+-",
        direction="towards" if said.way in _RADIAL else "across",
        place=place or (0.5, 0.5),
        placed=place is not None,
        whole=False,
    )


def thing_in_region(
    rig: Rig,
    regions: Mapping[int, Region],
    number: str,
    speed: str,
    distance: str,
    held: Held | None = None,
) -> Thing:
    """A region of a scan: its displacement along the way it is said to move and across it; its whole length
    where no way is said. `held`: how A's scan is held, where how the scans lie on each other cannot tell."""
    region = regions.get(int(number)) if number.isdecimal() and len(number) < 10 else None
    if region is None:
        known = ", ".join(str(key) for key in regions) or "none"
        raise BadInput(f"Region '{number:.20}' is not in the file: it holds {known:.200}.")
    pitch_m = region.pitch_um * 1e-6 if region.pitch_um is not None else rig.bodies.a.scan_pitch_m
    if pitch_m is None:
        raise BadInput(
            "How long a pixel is on film is not known: give bodies.a.scan in the rig, or scan with --dpi."
        )
    said = speed_of(speed)
    (right, down), u_px = region.by_px, max(region.u_px)
    width, height = region.size_px
    place = ((region.centre_px[0] + 0.5) / width, (region.centre_px[1] + 0.5) / height)
    way = _way(said.way, place, width, height)
    along_px, across_px = math.hypot(right, down), 0.0
    if region.across is not None:
        along_px, u_px = _along(number, (right, down), u_px, region.across, way)
    elif way is not None:
        along_px, across_px = right * way[0] + down * way[1], down * way[0] - right * way[1]
    return Thing(
        name=f"region {number}",
        apart_m=along_px * pitch_m,
        u_m=u_px * pitch_m,
        distance_m=quantity(distance, "length"),
        speed_m_s=said.speed_m_s,
        signed=way is not None,
        direction="towards" if said.way in _RADIAL else "across",
        place=place_in_scene(rig, held_of(rig, region.laid, held), place),
        aside_m=across_px * pitch_m,
    )


def _along(number: str, by_px: Pair, u_px: float, across: Pair, way: Pair | None) -> tuple[float, float]:
    """How far along its way a straight edge went, of which only the part across itself is seen, and with what `u`."""
    slant = 0.0 if way is None else way[0] * across[0] + way[1] * across[1]
    if abs(slant) < _LEAST_SLANT:
        raise BadInput(
            f"Region {number} is a straight edge: how far it went is seen across it only. Say which way it moved, as "
            "in '15 km/h right'; along itself nothing can be told."
        )
    return (by_px[0] * across[0] + by_px[1] * across[1]) / slant, u_px / abs(slant)


def _way(way: str, place: tuple[float, float], width: float, height: float) -> tuple[float, float] | None:
    """Unit vector, right and down, of the way its picture moves; None where it was not said."""
    if way in WAYS:
        return WAYS[way]
    if way not in _RADIAL:
        return None
    x, y = (place[0] - 0.5) * width, (place[1] - 0.5) * height
    length = math.hypot(x, y)
    if length < 1:
        raise BadInput("What comes towards the camera does not move on film in the very centre of the frame.")
    return (_RADIAL[way] * x / length, _RADIAL[way] * y / length)


# -- the skew to compare with ----------------------------------------------------------------------


def known_from_frame(rig: Rig, frames: tuple[Frame, ...], number: int, found: tuple[Found, ...]) -> Known:
    """Frame `number`'s own skew out of the frame log. Raises BadInput where it has none."""
    rows = [frame for frame in frames if frame.frame == number]
    if not rows:
        raise BadInput(
            f"The frame log has no frame {number}; join it to the roll with 'coincide framelog --entry'."
        )
    skew_s = rows[-1].skew_s
    if not math.isfinite(skew_s):
        raise BadInput(f"Frame {number} has no measured skew: {rows[-1].verdict.replace('_', ' ')}.")
    return Known(skew_s, sync_u_s(rig, found), own=True, source=f"frame log, frame {number}")


def sync_u_s(rig: Rig, found: tuple[Found, ...]) -> float:
    """How well a skew is known from sync contacts: as learned from gate sensors, else as the rig says."""
    us = []
    for body, part in enumerate(rig.both):
        learned = learned_for(found, rig, body)
        us.append(
            learned.sync_to_open_u_s
            if learned is not None and learned.sync_to_open_u_s is not None
            else part.shutter.sync_uncertainty_s
        )
    return math.hypot(*us)


def known_from_jitter(rig: Rig, found: tuple[Found, ...], jitter_s: float | None) -> Known | None:
    """What the rig's jitter allows: given by hand, else from the newest calibration; None without either."""
    if jitter_s is not None:
        return Known(0.0, jitter_s, own=False, source="jitter given by hand")
    chosen = newest_for(found, rig)
    if chosen is None:
        return None
    one = chosen.calibration
    offset_u = (one.interval_s[1] - one.interval_s[0]) / 2 / COVER
    return Known(0.0, math.hypot(one.jitter_s, offset_u), own=False, source=chosen.path.name)
