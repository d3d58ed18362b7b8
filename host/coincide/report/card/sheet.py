"""A sheet of paper drawn in millimetres from its upper left corner: text that is measured before it is set."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING

from coincide.report.plots.palette import GRID, INK, RC, no_formulas

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.font_manager import FontProperties

MM_PER_INCH = 25.4
MM_PER_POINT = MM_PER_INCH / 72.0
LEAST_POINT = 8.0  # smaller than this is not read at arm's length
LEADING = 1.32
DOTS_PER_INCH = 300
PDF_MARKS = {"CreationDate": None, "Creator": "coincide"}  # no date: the same content, the same file


@dataclass(frozen=True, slots=True)
class Type:
    """A size in points, weight, family and colour."""

    size: float
    bold: bool = False
    serif: bool = False
    colour: str = INK

    @property
    def line_mm(self) -> float:
        """From one line to the next."""
        return self.size * MM_PER_POINT * LEADING


class Sheet:
    """One page. x to the right, y down, millimetres; every text is no smaller than LEAST_POINT."""

    def __init__(self, width_mm: float, height_mm: float, paper: str) -> None:
        import matplotlib as mpl
        from matplotlib.figure import Figure

        with mpl.rc_context(RC):
            size = (width_mm / MM_PER_INCH, height_mm / MM_PER_INCH)
            self.figure: Figure = Figure(figsize=size, facecolor=paper)
            self._axes: Axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self._axes.set_xlim(0.0, width_mm)
        self._axes.set_ylim(height_mm, 0.0)
        self._axes.set_axis_off()

    def width_mm(self, text: str, face: Type) -> float:
        """How wide a line of text would be."""
        from matplotlib.textpath import text_to_path

        width, _, _ = text_to_path.get_text_width_height_descent(text, _font(face), ismath=False)
        return float(width) * MM_PER_POINT

    def wrapped(self, text: str, width_mm: float, face: Type) -> list[str]:
        """The text in lines no wider than that; a word that is wider by itself is cut short."""
        lines: list[str] = []
        for word in text.split():
            longer = f"{lines[-1]} {word}" if lines else word
            if lines and self.width_mm(longer, face) <= width_mm:
                lines[-1] = longer
            else:
                lines.append(self.cut(word, width_mm, face))
        return lines

    def cut(self, text: str, width_mm: float, face: Type) -> str:
        """The text, or as much of it as fits with an ellipsis."""
        if self.width_mm(text, face) <= width_mm:
            return text
        kept = text
        while kept and self.width_mm(f"{kept}…", face) > width_mm:
            kept = kept[:-1]
        return f"{kept.rstrip()}…"

    def line(self, x: float, y: float, text: str, face: Type, align: str = "left") -> float:
        """Set one line with its top at y. Returns where the next one begins."""
        if face.size < LEAST_POINT:
            raise ValueError(f"{face.size} points cannot be read on paper; {LEAST_POINT} is the least.")
        # The baseline lies one cap height and a little below the top; 0.76 em in this family.
        self._axes.text(
            x,
            y + 0.78 * face.size * MM_PER_POINT,
            text,
            fontproperties=_font(face),
            color=face.colour,
            ha=align,
            va="baseline",
            parse_math=False,
        )
        return y + face.line_mm

    def paragraph(self, x: float, y: float, text: str, width_mm: float, face: Type) -> float:
        """Set text in lines of that width. Returns where the next line begins."""
        for line in self.wrapped(text, width_mm, face):
            y = self.line(x, y, line, face)
        return y

    def box(self, x: float, y: float, width_mm: float, height_mm: float, fill: str, edge: str) -> None:
        """A rectangle with a hair line around it."""
        from matplotlib.patches import Rectangle

        self._axes.add_patch(
            Rectangle((x, y), width_mm, height_mm, facecolor=fill, edgecolor=edge, linewidth=0.6)
        )

    def bar(self, x: float, y: float, width_mm: float, height_mm: float, colour: str) -> None:
        """A filled rectangle without an edge: a heavy rule."""
        from matplotlib.patches import Rectangle

        self._axes.add_patch(Rectangle((x, y), width_mm, height_mm, facecolor=colour, edgecolor="none"))

    def rule(self, x: float, y: float, width_mm: float, colour: str = GRID) -> None:
        """A hair line across."""
        self._axes.plot([x, x + width_mm], [y, y], color=colour, linewidth=0.6, solid_capstyle="butt")


def both_pages(sheets: Sequence[Sheet]) -> bytes:
    """A PDF with a page a sheet. The same content gives the same file."""
    import matplotlib as mpl
    from matplotlib.backends.backend_pdf import PdfPages

    held = BytesIO()
    with mpl.rc_context({"pdf.fonttype": 42}), PdfPages(held, metadata=PDF_MARKS) as pages:
        for sheet in sheets:
            pages.savefig(no_formulas(sheet.figure), facecolor=sheet.figure.get_facecolor())
    return held.getvalue()


def side_by_side(sheets: Sequence[Sheet]) -> bytes:
    """A PNG of all sheets beside each other, 300 dots an inch."""
    from PIL import Image
    from PIL.PngImagePlugin import PngInfo

    from coincide.report.plots.series import figure_bytes

    sides = []
    for sheet in sheets:
        drawn = figure_bytes(sheet.figure, ".png", dpi=DOTS_PER_INCH, facecolor=sheet.figure.get_facecolor())
        sides.append(Image.open(BytesIO(drawn)).convert("RGB"))
    whole = Image.new("RGB", (sum(one.width for one in sides), sides[0].height))
    across = 0
    for one in sides:
        whole.paste(one, (across, 0))
        across += one.width
    marks = PngInfo()
    marks.add_text("Software", "coincide")
    held = BytesIO()
    whole.save(held, "PNG", pnginfo=marks, dpi=(DOTS_PER_INCH, DOTS_PER_INCH))
    return held.getvalue()


def _font(face: Type) -> FontProperties:
    from matplotlib.font_manager import FontProperties

    family = "DejaVu Serif" if face.serif else "DejaVu Sans"
    return FontProperties(family=family, size=face.size, weight="bold" if face.bold else "normal")
