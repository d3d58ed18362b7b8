"""A merged picture and its fringes, in sentences and rows."""

from __future__ import annotations

from coincide.report.words.numbers import percent
from coincide.scans.files.write import Written
from coincide.scans.pair import Compared
from coincide.scans.picture.fringes import Fringes
from coincide.scans.picture.merge import Merged

FRINGE_COLUMNS = ("fringes by", "of the edges", "half narrower than", "19 in 20 narrower than")
_CAUSES = {
    "moved": "what moved (skew), or near things that parallax displaced",
    "parallax": "parallax or a bent field: neighbours agree, no thing stands out",
    "registration": "registration, where the map holds",
}


def merged_lines(found: Merged) -> list[str]:
    """What shows what, how the tones were matched, what was lost, and the grain."""
    channels = found.assignment.replace("-", ", ")
    tones = found.matching
    lines = [
        f"Merged into {found.written.path}: {found.size_px[0]} x {found.size_px[1]}, 16 bits, red, green and blue "
        f"showing {channels}." if found.assignment != "two-tone" else
        f"Merged into {found.written.path}: {found.size_px[0]} x {found.size_px[1]}, 16 bits, the colour scan red, the "
        "infrared scan green and blue.",
        f"Infrared tones matched on what stood still ({percent(tones.share)} of the frame): times {tones.gain:.2f}, "
        f"{'plus' if tones.lift >= 0 else 'less'} {abs(tones.lift) * 100:.0f} % of full scale; "
        f"{percent(tones.clipped)} of it runs into black or white.",
    ]  # fmt: skip
    return [*lines, *laid_lines(found.written)]


def laid_lines(found: Written) -> list[str]:
    """What laying B on A cost."""
    grain = (
        "B's pixels are untouched."
        if found.grain == 1.0
        else f"Laying B between its pixels leaves {percent(found.grain)} of its pixel-to-pixel grain."
    )
    lost = "" if found.lost < 0.0005 else f" B does not show {percent(found.lost)} of A's frame."
    return [grain + lost]


def fringe_rows(found: Fringes, compared: Compared, print_m: float | None) -> list[list[str]]:
    """One row a cause, as FRINGE_COLUMNS: on film where the pitch is known, in a print where one is asked for."""
    rows = []
    for fringe in found.by_cause:
        if fringe.share == 0:
            continue
        rows.append(
            [
                _CAUSES[fringe.cause],
                percent(fringe.share),
                _wide(fringe.median_px, compared, print_m),
                _wide(fringe.wide_px, compared, print_m),
            ]
        )
    return rows


def fringe_lines(found: Fringes) -> list[str]:
    """How far the widths can be believed."""
    return [
        f"Where the map holds, a width is known to +-{2 * found.u_px:.2f} px (95 %). 'coincide ghost' tells skew "
        "from the rest."
    ]


def _wide(width_px: float, compared: Compared, print_m: float | None) -> str:
    pitch = compared.a.pitch_um
    parts = [f"{width_px:.1f} px" if pitch is None else f"{width_px * pitch:.0f} um"]
    if print_m is not None:
        parts.append(f"{width_px / max(compared.registration.frame_a_px) * print_m * 1e3:.2f} mm in print")
    return ", ".join(parts)
