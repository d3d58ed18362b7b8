"""Pictures of a pair: overlaid before and after, what moved, and the worst places close up.

Edges, not tones, are overlaid, since the tones of two emulsions need not agree: A's in blue, B's in amber,
which add up to white where they coincide. The two differ in lightness too, for colour-blind eyes.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from coincide.durable import write_outputs
from coincide.errors import BadInput
from coincide.report.plots.palette import RC
from coincide.report.plots.series import figure_bytes
from coincide.scans.moved.fields import laid_on
from coincide.scans.moved.region import Region
from coincide.scans.pair import Compared
from coincide.scans.register.alignment import Alignment
from coincide.scans.register.coarse import block_mean
from coincide.scans.register.trust import COVER

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Picture = npt.NDArray[np.float32]

TINT_A = np.array([0.12, 0.44, 0.98], np.float32)
TINT_B = 1.0 - TINT_A
NAMES = ("before.png", "after.png", "moved.png", "loupe.png")
_LONG_SIDE_PX = 1200
_DPI = 110
_OUTLINE = "#f2f2f2"
_ARROW = "#ffd23c"
_LEVELS_PX = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0)
_LOUPES = 4
_LOUPE_PX = 160


def draw_pictures(found: Compared, folder: Path, advance: Callable[[], None] = lambda: None) -> list[Path]:
    """Write NAMES into `folder`, made where it is missing; existing files are never overwritten."""
    paths = [folder / name for name in NAMES]
    for path in paths:
        if path.exists():
            raise BadInput(f"{path} exists already and stays as it is: name another folder.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(f"{folder} cannot be made: {error.strerror}.") from error
    for path, draw in zip(paths, (_before, _after, _moved, _loupe), strict=True):
        figure = draw(found)
        write_outputs({path: figure_bytes(figure, ".png", dpi=_DPI)})
        advance()
    return paths


def overlay(a: Picture, b: Picture) -> npt.NDArray[np.float32]:
    """Edges of `a` and `b` (h, w) in the two tints over a dim A: (h, w, 3) in 0..1."""
    edges = _edges(a)[..., None] * TINT_A + _edges(b)[..., None] * TINT_B
    low, high = np.quantile(a, [0.02, 0.98])
    dim = np.clip((a - low) / max(float(high - low), 1e-6), 0, 1)[..., None]
    return np.asarray(np.clip(0.16 * dim + 0.92 * edges, 0, 1), np.float32)


def _edges(image: Picture) -> Picture:
    size = ndimage.gaussian_gradient_magnitude(image, 0.8)
    # Locally even, so that faint foliage shows as well as a window frame.
    around = np.sqrt(ndimage.gaussian_filter(size**2, 20)) + np.quantile(size, 0.6) * 0.5 + 1e-6
    return np.asarray(np.clip(size / (2.2 * around), 0, 1), np.float32)


def _shown(found: Compared) -> tuple[Picture, Picture, int]:
    """A and B laid on it at the size of the picture, and the factor of reduction."""
    factor = max(1, round(max(found.a.grey.shape) / _LONG_SIDE_PX))
    return (*_at(found, found.registration.alignment, factor), factor)


def _at(found: Compared, alignment: Alignment, factor: int) -> tuple[Picture, Picture]:
    factor_b = max(1, round(factor * found.registration.at_centre.scale))
    a, b = block_mean(found.a.grey, factor), block_mean(found.b.grey, factor_b)
    laid, _ = laid_on(b, alignment.reduced(factor, factor_b), (a.shape[0], a.shape[1]))
    return a, laid


def _figure(shape: tuple[int, ...], title: str) -> tuple[Figure, Any]:
    """A figure of pixels one to one, a line of title above."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(RC):
        height, width = shape[:2]
        zoom = max(1.0, 640 / width)
        band = 34
        figure = Figure(figsize=(width * zoom / _DPI, (height * zoom + band) / _DPI))
        axes = figure.add_axes((0.0, 0.0, 1.0, height * zoom / (height * zoom + band)))
        figure.text(0.008, 1 - band / 2 / (height * zoom + band), title, va="center", fontsize=9)
        axes.set_axis_off()
    return figure, axes


def _before(found: Compared) -> Figure:
    factor = max(1, round(max(found.a.grey.shape) / _LONG_SIDE_PX))
    gauge = max(found.b.grey.shape) / max(found.a.grey.shape)
    middle_a = (np.array(found.registration.frame_a_px) - 1) / 2
    middle_b = (np.array(found.registration.frame_b_px) - 1) / 2
    matrix = np.eye(3)
    matrix[:2, :2] *= gauge
    matrix[:2, 2] = middle_b - gauge * middle_a
    a, b = _at(found, Alignment("similarity", matrix), factor)
    figure, axes = _figure(a.shape, "Before: centre on centre. Edges of A blue, of B amber, both white.")
    axes.imshow(overlay(a, b))
    return figure


def _after(found: Compared) -> Figure:
    a, b, _ = _shown(found)
    figure, axes = _figure(
        a.shape, "After, registered on what stood still. What is still tinted moved, or one film misses it."
    )
    axes.imshow(overlay(a, b))
    return figure


def _moved(found: Compared) -> Figure:
    from matplotlib.patheffects import withStroke

    a, _, factor = _shown(found)
    regions = found.motion.regions
    title = "What moved, arrows enlarged." if regions else "Nothing is seen to have moved."
    title += " Hatched: outlines only. Dots: map, 95 %."
    figure, axes = _figure(a.shape, title)
    low, high = np.quantile(a, [0.01, 0.99])
    axes.imshow(0.75 * np.clip((a - low) / max(float(high - low), 1e-6), 0, 1), cmap="gray", vmin=0, vmax=1)
    _unjudged(axes, found, factor)
    longest = max((region.length_px for region in regions), default=1.0) / factor
    enlarge = max(1.0, 0.09 * max(a.shape) / longest)
    dark = [withStroke(linewidth=3.5, foreground="#101010")]
    for number, region in enumerate(regions, 1):
        _outline(axes, region, factor, a.shape)
        x, y = ((c + 0.5) / factor - 0.5 for c in region.centre_px)
        dx, dy = (enlarge * part / factor for part in region.by_px)
        axes.annotate(
            "",
            (x + dx, y + dy),
            (x, y),
            arrowprops={"arrowstyle": "-|>", "color": _ARROW, "lw": 2.2, "path_effects": dark},
        )
        label = f"{number}: {region.length_px:.1f} px"
        axes.text(
            x - np.sign(dx) * 4,
            y - np.sign(dy) * 12,
            label,
            color=_OUTLINE,
            fontsize=9,
            path_effects=dark,
            ha="center",
        )
    return figure


def _unjudged(axes: Any, found: Compared, factor: int) -> None:
    """Hatching where there was no texture to judge by, and how far the map may be off as contours."""
    told, cell = found.motion.told, found.motion.cell_px / factor
    rows, columns = told.shape
    x, y = (np.arange(n) * cell + (cell - 1) / 2 for n in (columns, rows))
    if min(told.shape) > 1 and not told.all():
        with_hatches = {"hatches": ["////"], "colors": "none"}
        axes.contourf(x, y, ~told, [0.5, 1.5], **with_hatches).set_edgecolor("#b8b8b8")
    places, u_px = found.registration.trust.grid_px(found.registration.frame_a_px, 41, 29)
    levels = [level for level in _LEVELS_PX if u_px.min() < level / COVER < u_px.max()]
    if levels:
        at = (places + 0.5) / factor - 0.5
        lines = axes.contour(
            at[..., 0],
            at[..., 1],
            COVER * u_px,
            levels,
            colors=[_OUTLINE],
            linewidths=1.1,
            linestyles="dotted",
        )
        axes.clabel(lines, fmt="%g px", fontsize=8)


def _outline(axes: Any, region: Region, factor: int, shape: tuple[int, ...]) -> None:
    """The outline of the region's cells."""
    from matplotlib.patheffects import withStroke

    mask = np.zeros(shape, np.float32)
    for x, y in region.cells / factor:
        side = region.cell_px / factor
        mask[max(0, round(y)) : round(y + side), max(0, round(x)) : round(x + side)] = 1
    effect = [withStroke(linewidth=3.0, foreground="#101010")]
    axes.contour(mask, [0.5], colors=[_OUTLINE], linewidths=1.3).set_path_effects(effect)


def _loupe(found: Compared) -> Figure:
    """Each of the worst places three times: A, B laid on it, and their edges."""
    places = [region.centre_px for region in found.motion.regions[:_LOUPES]]
    title = (
        "Worst places: A, B laid on it, edges of both."
        if places
        else "Frame centre: A, B laid on it, edges of both."
    )
    if not places:
        places = [tuple((side - 1) / 2 for side in found.registration.frame_a_px)]  # type: ignore[list-item]
    strips = [_close_up(found, place) for place in places]
    picture = np.concatenate(strips, axis=0)
    figure, axes = _figure((picture.shape[0] * 2, picture.shape[1] * 2), title)
    axes.imshow(picture, interpolation="nearest")
    return figure


def _close_up(found: Compared, place: tuple[float, float]) -> npt.NDArray[np.float32]:
    width, height = found.registration.frame_a_px
    side = min(_LOUPE_PX, width, height)
    left = int(np.clip(place[0] - side / 2, 0, width - side))
    top = int(np.clip(place[1] - side / 2, 0, height - side))
    a = found.a.grey[top : top + side, left : left + side]
    corner = np.array([[1, 0, left], [0, 1, top], [0, 0, 1.0]])
    one = found.registration.alignment
    shifted = Alignment(
        one.kind, one.matrix @ corner, one.bend, (one.centre[0] - left, one.centre[1] - top), one.reach
    )
    b, _ = laid_on(found.b.grey, shifted, (side, side))
    tiles = [_stretched(a), _stretched(b), overlay(a, b)]
    gap = np.ones((side, 4, 3), np.float32)
    row = np.concatenate([part for tile in tiles for part in (tile, gap)][:-1], axis=1)
    return np.concatenate([row, np.ones((4, row.shape[1], 3), np.float32)], axis=0)


def _stretched(image: Picture) -> npt.NDArray[np.float32]:
    low, high = np.quantile(image, [0.01, 0.99])
    grey = np.clip((image - low) / max(float(high - low), 1e-6), 0, 1)
    return np.repeat(grey[..., None].astype(np.float32), 3, axis=2)
