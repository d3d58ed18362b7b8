"""Long exposures: the time a film needs where the meter says another, and back."""

from __future__ import annotations

import itertools
import math

from coincide.rig.film import Film

_Points = list[tuple[float, float]]


def with_reciprocity(film: Film, metered_s: float) -> float:
    """The time a film needs where the meter says metered_s.

    A table is read between its points in stops. A decade before its first point the film needs what is metered; after
    the last point it goes on as between the last two, and never needs less than is metered.
    """
    law = film.reciprocity
    if law is None:
        return metered_s
    if law.power is not None:
        return (
            metered_s
            if metered_s <= law.from_s
            else float(law.from_s * (metered_s / law.from_s) ** law.power)
        )
    return _along(_points(film), metered_s)


def metered_for(film: Film, needed_s: float) -> float:
    """The metered time for which a film needs needed_s: the inverse of `with_reciprocity`."""
    law = film.reciprocity
    if law is None:
        return needed_s
    if law.power is not None:
        if needed_s <= law.from_s:
            return needed_s
        return float(law.from_s * (needed_s / law.from_s) ** (1 / law.power))
    return _along([(needed, metered) for metered, needed in _points(film)], needed_s)


def table_ends_s(film: Film) -> float:
    """The last metered time of the table, beyond which it is carried on; infinite where there is none."""
    law = film.reciprocity
    return math.inf if law is None or not law.table else law.table[-1][0]


def _points(film: Film) -> _Points:
    """Logarithms of metered and needed time: a decade before the table, the table, and where it goes on."""
    assert film.reciprocity is not None
    points = [(math.log(metered), math.log(needed)) for metered, needed in film.reciprocity.table]
    start = points[0][0] - math.log(10.0)
    points.insert(0, (start, start))
    (x0, y0), (x1, y1) = points[-2:]
    slope = max((y1 - y0) / (x1 - x0), 1.0)
    return [*points, (x1 + 1.0, y1 + slope)]


def _along(points: _Points, time_s: float) -> float:
    """Between the points in stops; before the first as it is, after the last on at the last slope."""
    at = math.log(time_s)
    if at <= points[0][0]:
        return time_s
    segments = list(itertools.pairwise(points))
    (x0, y0), (x1, y1) = next((one for one in segments if at <= one[1][0]), segments[-1])
    return math.exp(y0 + (y1 - y0) * (at - x0) / (x1 - x0))
