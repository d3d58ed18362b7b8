"""What two scans show, as sentences and rows."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from coincide.ghost.roll import RollRow, RollSummary
from coincide.report.words.numbers import count, ms, percent
from coincide.scans.moved.region import Region
from coincide.scans.pair import Compared
from coincide.scans.register.trust import COVER

_PLAIN_BELOW = 0.9  # of the frame judged: below it plain areas are named

REGION_COLUMNS = (
    "what moved",
    "centre, px",
    "size, px",
    "right, px",
    "down, px",
    "length, px",
    "+- (95 %), px",
    "on film, um",
    "sure, %",
)
ROLL_COLUMNS = ("frame", "scans", "skew, ms", "moved", "ghost, px", "on film, um", "still, px", "remark")


def pair_lines(found: Compared) -> list[str]:
    """How B lies on A, how well what stood still agrees, and what was looked for."""
    registration = found.registration
    return [_lies(found), _still(found), *_bent(found), *_gates(found), *_looked_for(found, bool(found.motion.regions)),
            *([] if registration.share > 0.35 else [_thin(found)])]  # fmt: skip


def _lies(found: Compared) -> str:
    at = found.registration.at_centre
    right, down = found.shift_px
    parts = ["B is mirrored left to right against A" if at.mirrored else "B is the same way round as A"]
    parts.append(
        f"turned by {abs(at.turn_deg):.2f} degrees {'clockwise' if at.turn_deg > 0 else 'anticlockwise'}"
    )
    parts.append(f"{at.scale:.4f} of its scale")
    shift = f"shifted by {abs(right):.1f} px {'right' if right >= 0 else 'left'} and {abs(down):.1f} px"
    shift += " down" if down >= 0 else " up"
    return ", ".join([*parts, shift + _on_film(found, math.hypot(right, down) / at.scale)]) + "."


def _on_film(found: Compared, length_px: float) -> str:
    pitch = found.a.pitch_um
    return "" if pitch is None else f" ({length_px * pitch:.0f} um on A's film)"


def _still(found: Compared) -> str:
    registration = found.registration
    return (
        f"What stood still agrees to {registration.static_rms_px:.2f} px rms"
        f"{_on_film(found, registration.static_rms_px)}: {int(registration.still.sum())} of "
        f"{len(registration.still)} places recognised. {_trust(found)}"
    )


def _trust(found: Compared) -> str:
    """How far the map may be off, where it is best and where it is worst."""
    u_px = COVER * found.registration.trust.grid_px(found.registration.frame_a_px)[1]
    middle, worst = float(np.median(u_px)), float(u_px.max())
    if worst < 2 * middle:
        return f"The map is right within {worst:.2f} px (95 %) all over the frame."
    return (
        f"The map is right within {middle:.2f} px (95 %) in half the frame, within {worst:.2f} px where least was "
        "recognised."
    )


_CAUSES = {
    "turned": "It is the keystone of a body that points elsewhere: --align says how to turn it back.",
    "lenses": "It grows along the radius, as of lenses that differ.",
    "turned and lenses": "A body that points elsewhere (--align) and lenses that differ explain it together.",
    "depth": (
        "It lies along one line, as of depth seen from two places (a foreground that slants): the entrance pupils lie "
        "apart. A scanner that stretches one way does the same."
    ),
    "open": (
        "Whether a body points elsewhere, the lenses differ, or depth is seen from two places (the pupils lie apart) "
        "cannot be told."
    ),
}


def _bent(found: Compared) -> list[str]:
    bend = found.bend
    if bend.cause == "none":
        return []
    return [
        f"The scans fit only with a map that lies up to {bend.px:.1f} px{_on_film(found, bend.px)} off plain shift, "
        f"turn and scale. {_CAUSES[bend.cause]} It is taken off, and timing has no part in it, unless what it bends "
        "moved: most of the frame would have to."
    ]


def _gates(found: Compared) -> list[str]:
    """Which film gates show, and what to do about them."""
    shown = [
        f"{letter} ({'all sides' if len(gate.lines) == 4 else ', '.join(gate.lines)})"
        for letter, gate in zip("AB", found.gates, strict=True)
        if gate.lines
    ]
    if not shown:
        return []
    return [
        f"The film gate shows in {' and '.join(shown)}: it is left out. --merged with --border gate cuts to what "
        "lies inside."
    ]


def _looked_for(found: Compared, moved: bool) -> list[str]:
    one = found.motion
    what = (
        f"things of {one.least_region_px:.0f} px and more, displaced by {one.least_move_px:.1f} to "
        f"{one.most_move_px:.0f} px; {percent(one.judged)} of the frame has texture enough to tell"
    )
    lines = [
        f"Looked for: {what}."
        if moved
        else f"Nothing is seen to have moved where there is texture. Looked for: {what}."
    ]
    if one.judged < _PLAIN_BELOW:
        lines.append(_plain(found))
    return lines


def _plain(found: Compared) -> str:
    """What was done where there is no texture."""
    one = found.motion
    where = f"Plain areas, {percent(1 - one.judged)} of the frame (hatched in --pictures)"
    if not one.contours:
        return f"{where}, were not looked into: a thing against them may have moved unseen."
    return (
        f"{where}, were searched only for sharp outlines of {one.least_outline_px:.0f} px and more, as of a bird, a "
        "boat or a post; what is smaller or soft against them may have moved unseen."
    )


def _thin(found: Compared) -> str:
    return (
        f"Thin evidence: only {percent(found.registration.share)} of the places recognised fit. Grain, haze or much "
        "movement does this; look at the overlay before believing the figures."
    )


def region_rows(found: Compared) -> list[list[str]]:
    """One row a region, as REGION_COLUMNS."""
    return [_region_row(k, region, found.a.pitch_um) for k, region in enumerate(found.motion.regions, 1)]


def _region_row(number: int, region: Region, pitch_um: float | None) -> list[str]:
    x0, y0, x1, y1 = region.box_px
    return [
        f"region {number}",
        f"{region.centre_px[0]:.0f}, {region.centre_px[1]:.0f}",
        f"{x1 - x0:.0f} x {y1 - y0:.0f}",
        f"{region.by_px[0]:+.2f}",
        f"{region.by_px[1]:+.2f}",
        f"{region.length_px:.2f}",
        f"{COVER * max(region.u_px):.2f}",
        "-" if pitch_um is None else f"{region.length_px * pitch_um:.1f}",
        f"{region.confidence * 100:.0f}" + ("" if region.across is None else ", across its edge only"),
    ]


def roll_rows(rows: Sequence[RollRow]) -> list[list[str]]:
    """One row a pair, as ROLL_COLUMNS."""
    return [
        [
            "-" if row.frame is None else str(row.frame),
            f"{row.name_a} / {row.name_b}",
            f"{row.skew_s * 1e3:+.2f}" if math.isfinite(row.skew_s) else "-",
            str(row.regions) if row.refused is None else "-",
            f"{row.ghost_px:.1f}" if math.isfinite(row.ghost_px) else "-",
            f"{row.ghost_um:.0f}" if math.isfinite(row.ghost_um) else "-",
            f"{row.still_px:.2f}" if math.isfinite(row.still_px) else "-",
            row.refused or "",
        ]
        for row in rows
    ]


def roll_lines(summary: RollSummary) -> list[str]:
    """The summary in sentences."""
    told = summary.pairs - summary.refused
    lines = [f"{count(told, 'pair')} compared, {summary.with_ghost} with something that moved."]
    if summary.refused:
        lines.append(f"{count(summary.refused, 'pair')} could not be told; the remarks say why.")
    if summary.used == 0:
        lines.append(
            "How much an offset would have removed cannot be said: no pair that moved has a measured skew. "
            "Give the frame log with --frames."
        )
    elif summary.removed <= 0.02:
        lines.append("No change of offset would have removed much of it: the skews scatter about zero.")
    else:
        body = "A" if summary.offset_change_s > 0 else "B"
        size = abs(summary.offset_change_s)
        lines.append(
            f"Holding body {body} back by {ms(size, size / 20)} more would have removed "
            f"{percent(summary.removed)} of the ghosting in {count(summary.used, 'pair')}, as far as timing made it."
        )
    return lines
