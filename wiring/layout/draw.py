"""A board on a sheet of A4: both sides twice their size to work from, the copper side at 1:1 as a template.

Everything is placed in millimetres of paper, so that a print without scaling is to scale; a bar of 50 mm proves it.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import TYPE_CHECKING

from coincide_wiring.circuits.model import Sheet
from coincide_wiring.circuits.packages import package_of
from coincide_wiring.layout.enclosure import INSIDE_MM, WALL_MM, Opening
from coincide_wiring.layout.model import PAD_MM, PITCH_MM, WIRE_MM, Hole, Layout, Placed, hole_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes

A4_MM = (210.0, 297.0)
MM_PT = 72 / 25.4
MARGIN_MM = 15.0
WIRE_COLOUR = "#1f4e79"
MANY, ABREAST = 9, 4  # so many insulated wires are listed a few abreast
Point = tuple[float, float]


def as_pdf(layout: Layout, sheet: Sheet, creepage_mm: dict[tuple[int, int], float]) -> bytes:
    """The page of one board."""
    return _printed(lambda axes: page(axes, layout, sheet, creepage_mm))


def walls_as_pdf(found: tuple[Opening, ...]) -> bytes:
    """The page of the enclosure's four walls, seen from outside, at 1:1."""
    return _printed(lambda axes: _walls(axes, found))


def _printed(drawn: Callable[[Axes], None]) -> bytes:
    from matplotlib.backends.backend_pdf import FigureCanvasPdf
    from matplotlib.figure import Figure

    figure = Figure(figsize=(A4_MM[0] / 25.4, A4_MM[1] / 25.4))
    FigureCanvasPdf(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0, A4_MM[0])
    axes.set_ylim(A4_MM[1], 0)
    axes.axis("off")
    drawn(axes)
    out = io.BytesIO()
    figure.savefig(out, format="pdf", metadata={"CreationDate": None, "Creator": "coincide wiring layout"})
    return out.getvalue()


def _walls(axes: Axes, found: tuple[Opening, ...]) -> None:
    from matplotlib.patches import Circle, Rectangle

    inside = " x ".join(f"{one:g}" for one in INSIDE_MM)
    _text(
        axes, (MARGIN_MM, 10), f"Walls of the enclosure, {inside} mm inside, each seen from outside, 1:1", 12
    )
    said = (
        "Plastic, no metal front. Thin circle: the nut. Measure your parts before drilling. The bar is 50 mm."
    )
    _text(axes, (MARGIN_MM, 15.5), said, 7.5)
    top = 22.0
    for wall, (wide, high) in WALL_MM.items():
        _text(axes, (MARGIN_MM, top), f"{wall.capitalize()} wall", 9)
        left, bottom = MARGIN_MM, top + 3 + high
        axes.add_patch(Rectangle((left, top + 3), wide, high, fill=False, linewidth=0.8))
        for one in found:
            if one.wall != wall:
                continue
            x, y = left + one.x_mm, bottom - one.y_mm
            axes.add_patch(Circle((x, y), one.hole_mm / 2, fill=False, linewidth=0.9))
            axes.add_patch(Circle((x, y), one.nut_mm / 2, fill=False, linewidth=0.3, color="gray"))
            for dx, dy in ((2.0, 0.0), (0.0, 2.0)):
                axes.plot([x - dx, x + dx], [y - dy, y + dy], color="black", linewidth=0.4)
            under = y + one.nut_mm / 2 + 2.2
            _text(axes, (x, under), f"{one.what}  {one.hole_mm:g} mm", 5.5, "center")
            _text(axes, (x, under + 2.4), one.says, 5, "center", "dimgray")
        top += high + 9
    _bar(axes, (MARGIN_MM + 110, 22.0 + 2 * 64.0 + 20))


def _bar(axes: Axes, at: Point) -> None:
    """A bar of 50 mm: proof of the print's scale."""
    x, y = at
    axes.plot([x, x + 50], [y, y], color="black", linewidth=1.2)
    for end in (x, x + 50):
        axes.plot([end, end], [y - 1.5, y + 1.5], color="black", linewidth=1.2)
    _text(axes, (x + 25, y + 4), "50 mm", 7, "center")


def page(axes: Axes, layout: Layout, sheet: Sheet, creepage_mm: dict[tuple[int, int], float]) -> None:
    """Title, the two sides, the template, the bar, what to mind."""
    wide, high = layout.size_mm
    scale = min(2.0, (A4_MM[0] - 2 * MARGIN_MM - 8) / wide, (A4_MM[1] - 75 - high) / (2 * high))
    _text(axes, (MARGIN_MM, 12), layout.title, 13)
    for line, said in enumerate(_subtitle(layout, creepage_mm)):
        _text(axes, (MARGIN_MM, 17.5 + 4 * line), said, 7.5)
    top = 29.0
    _text(axes, (MARGIN_MM, top), f"Seen from the parts' side, {scale:.2g} times its size", 9)
    _parts_side(axes, layout, sheet, (MARGIN_MM + 4, top + 6), scale)
    top += 12 + scale * high
    _text(
        axes,
        (MARGIN_MM, top),
        f"Seen from the copper side, {scale:.2g} times its size: left and right exchanged; crosses: drill the pad away",
        9,
    )
    _copper_side(axes, layout, (MARGIN_MM + 4, top + 6), scale, named=True)
    top += 12 + scale * high
    _text(axes, (MARGIN_MM, top), "Copper side, 1:1. Print without scaling; the bar is 50 mm.", 9)
    _copper_side(axes, layout, (MARGIN_MM + 4, top + 4), 1.0, named=False)
    x, y = MARGIN_MM + 14 + wide, top + 8
    _bar(axes, (x, y))
    words = _words(layout)
    step_mm = min(4.0, (A4_MM[1] - MARGIN_MM / 2 - y - 11) / len(words))
    for line, said in enumerate(words):
        _text(axes, (x, y + 11 + step_mm * line), said, 6.5)


def _subtitle(layout: Layout, creepage_mm: dict[tuple[int, int], float]) -> list[str]:
    wide, high = layout.size_mm
    size = f"{layout.columns} x {layout.rows} holes, {wide:.0f} x {high:.0f} mm"
    said = [f"Pad board, 2.54 mm, one pad a hole: {size}. Wires in black are bare, from hole to hole."]
    across = [way for (one, other), way in creepage_mm.items() if one // 10 != other // 10]
    within = [way for (one, other), way in creepage_mm.items() if one // 10 == other // 10]
    if across:
        said.append(f"Across the isolators {min(across):.1f} mm of bare board")
        said[-1] += f"; where 400 V may stand, {min(within):.1f} mm." if within else "."
    return said


def _words(layout: Layout) -> list[str]:
    said = [f"{len(layout.runs)} bare wires, {sum(len(run) - 1 for run in layout.runs)} steps of 2.54 mm."]
    if layout.links:
        said.append("Insulated wires on the copper side (dashed):")
        ends = [f"{hole_name(one)} to {hole_name(other)}" for one, other in sorted(layout.links)]
        few = 1 if len(ends) < MANY else ABREAST
        said += [f"  {', '.join(ends[at : at + few])}" for at in range(0, len(ends), few)]
    if layout.drilled:
        said.append(f"{len(layout.drilled)} pads to drill away with a 3 mm drill, by hand.")
    wires = [one for one in layout.placed if one.off_board]
    if wires:
        said.append("Wires that leave the board:")
        said += [
            f"  {one.ref}: " + ", ".join(f"{pad} {hole_name(hole)}" for pad, hole in one.pads.items())
            for one in wires
        ]
    return said


def _text(axes: Axes, at: Point, said: str, size: float, align: str = "left", colour: str = "black") -> None:
    halo = (
        {"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.3}
        if colour == WIRE_COLOUR
        else None
    )
    axes.text(*at, said, fontsize=size, ha=align, va="center", color=colour, bbox=halo, zorder=9)


def _grid(axes: Axes, layout: Layout, at: Callable[[Hole], Point], scale: float, origin: Point) -> None:
    from matplotlib.patches import Rectangle

    wide, high = layout.size_mm
    axes.add_patch(Rectangle(origin, wide * scale, high * scale, fill=False, linewidth=0.8))
    if scale <= 1.0:
        return
    for column in range(layout.columns):
        x, _ = at((column, 0))
        _text(axes, (x, origin[1] - 1.6), hole_name((column, 0))[:-1], 5, "center", "dimgray")
    for row in range(layout.rows):
        _, y = at((0, row))
        _text(axes, (origin[0] - 2.2, y), str(row + 1), 5, "center", "dimgray")


def _parts_side(axes: Axes, layout: Layout, sheet: Sheet, origin: Point, scale: float) -> None:
    from matplotlib.patches import Circle, Rectangle

    def at(hole: tuple[float, float]) -> Point:
        return (
            origin[0] + (hole[0] + 0.5) * PITCH_MM * scale,
            origin[1] + (hole[1] + 0.5) * PITCH_MM * scale,
        )

    _grid(axes, layout, at, scale, origin)
    for column in range(layout.columns):
        for row in range(layout.rows):
            axes.add_patch(Circle(at((column, row)), 0.3 * scale, fill=False, linewidth=0.25, color="silver"))
    for run in layout.runs:
        points = [at(hole) for hole in run]
        axes.plot([x for x, _ in points], [y for _, y in points], color="silver", linewidth=0.9)
    by_ref = {one.ref: one for one in sheet.parts}
    for one in layout.placed:
        left, top, right, bottom = one.body
        (x0, y0), (x1, y1) = at((left, top)), at((right, bottom))
        if not one.off_board:
            shade = "#f2efe6"
            axes.add_patch(
                Rectangle((x0, y0), x1 - x0, y1 - y0, facecolor=shade, edgecolor="black", linewidth=0.7)
            )
        for pad, hole in one.pads.items():
            axes.add_patch(
                Circle(at(hole), 0.55 * scale, facecolor="white", edgecolor="black", linewidth=0.6)
            )
            _pad_label(axes, one, pad, at(hole), scale, layout)
        if one.ref in by_ref and package_of(by_ref[one.ref]).pads.get("1") == "cathode":
            _band(axes, one, at, scale)
        if one.ref in by_ref and not one.off_board:
            tall = (bottom - top) > (right - left)
            axes.text(
                (x0 + x1) / 2,
                (y0 + y1) / 2,
                f"{one.ref}",
                fontsize=5.5,
                ha="center",
                va="center",
                rotation=90 if tall and len(one.pads) < 4 else 0,
                bbox={"facecolor": "#f2efe6", "edgecolor": "none", "pad": 0.6},
            )
            if "1" in one.pads and len(package_of(by_ref[one.ref]).pads) > 2:
                dot = at(one.pads["1"])
                axes.add_patch(Circle(dot, 0.28 * scale, facecolor="black", edgecolor="none"))


def _band(axes: Axes, one: Placed, at: Callable[[Hole], Point], scale: float) -> None:
    """The band of a diode, on the side of its terminal 1."""
    (x, y), (x1, y1) = at(one.pads["1"]), at(one.pads["2"])
    length = abs(x1 - x) + abs(y1 - y)
    along = ((x1 - x) / length, (y1 - y) / length)
    off, half = min(1.3 * scale, 0.4 * length), 0.9 * scale
    x, y = x + along[0] * off, y + along[1] * off
    axes.plot(
        [x - along[1] * half, x + along[1] * half],
        [y - along[0] * half, y + along[0] * half],
        color="black",
        linewidth=1.6,
    )


def _pad_label(axes: Axes, one: Placed, pad: str, at: Point, scale: float, layout: Layout) -> None:
    """Which terminal it is; for a wire, where it goes."""
    if not one.off_board:
        if len(one.pads) == 2 and pad in ("1", "2", "+", "-"):
            _text(axes, at, pad, 3.6, "center")
        return
    said = one.ref if pad == "wire" else f"{one.ref} {pad}"
    inner = 1.0 if one.pads[pad][0] < layout.columns / 2 else -1.0
    _text(axes, (at[0] + inner * 0.8 * scale, at[1]), said, 5, "left" if inner > 0 else "right", WIRE_COLOUR)


def _copper_side(axes: Axes, layout: Layout, origin: Point, scale: float, named: bool) -> None:
    from matplotlib.patches import Circle

    def at(hole: Hole) -> Point:
        column = layout.columns - 1 - hole[0]
        return (
            origin[0] + (column + 0.5) * PITCH_MM * scale,
            origin[1] + (hole[1] + 0.5) * PITCH_MM * scale,
        )

    _grid(axes, layout, at, scale, origin)
    used = {hole for one in layout.placed for hole in one.pads.values()}
    for column in range(layout.columns):
        for row in range(layout.rows):
            hole = (column, row)
            x, y = at(hole)
            if hole in layout.drilled:
                reach = 0.6 * scale
                for way in (1, -1):
                    axes.plot(
                        [x - reach, x + reach],
                        [y - way * reach, y + way * reach],
                        color="firebrick",
                        linewidth=0.5,
                    )
                continue
            axes.add_patch(
                Circle((x, y), PAD_MM / 2 * scale, facecolor="#e3c9a0", edgecolor="none", linewidth=0.3)
            )
            axes.add_patch(Circle((x, y), 0.5 * scale, facecolor="white", edgecolor="none"))
    for run in layout.runs:
        points = [at(hole) for hole in run]
        axes.plot(
            [x for x, _ in points],
            [y for _, y in points],
            color="black",
            linewidth=WIRE_MM * scale * MM_PT * 0.7,
            solid_capstyle="round",
        )
    for one, other in layout.links:
        (x0, y0), (x1, y1) = at(one), at(other)
        axes.plot([x0, x1], [y0, y1], color=WIRE_COLOUR, linewidth=1.0, linestyle="--")
    for hole in used:
        axes.add_patch(Circle(at(hole), 0.6 * scale, facecolor="black", edgecolor="none"))
    if named:
        for part in layout.placed:
            if part.off_board:
                for pad, hole in part.pads.items():
                    x, y = at(hole)
                    said = part.ref if pad == "wire" else f"{part.ref} {pad}"
                    left = hole[0] >= layout.columns / 2
                    _text(
                        axes,
                        (x + (1.3 if left else -1.3) * scale, y),
                        said,
                        4.5,
                        "left" if left else "right",
                        WIRE_COLOUR,
                    )
