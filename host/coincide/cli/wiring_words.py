"""Rows and words `coincide wiring` prints: engineering prefixes, limits, the overview."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import Any

import click

from coincide.report.plain import to_plain
from coincide_wiring.cautions import Caution
from coincide_wiring.figure import Figure, Timing
from coincide_wiring.netlist import Build, sheets
from coincide_wiring.parts import Line

PREFIXES = ((1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"), (1e-12, "p"))


def engineering(value: float, unit: str) -> str:
    """A value with three figures and a prefix: 5.68 mA; plain where the unit is empty."""
    if not unit:
        return f"{value:.3g}"
    if value == 0 or not math.isfinite(value):
        return f"{value:g} {unit}"
    for scale, prefix in PREFIXES:
        if abs(value) >= scale * 0.9995:
            return f"{value / scale:.3g} {prefix}{unit}"
    return f"{value:.3g} {unit}"


def limits_words(figure: Figure) -> str:
    """'2.25 mA to 12 mA', 'at least 2', 'at most 1 V'."""
    low, high = figure.limits
    if low is not None and high is not None:
        return f"{engineering(low, figure.unit)} to {engineering(high, figure.unit)}"
    if low is not None:
        return f"at least {engineering(low, figure.unit)}"
    return f"at most {engineering(high if high is not None else math.inf, figure.unit)}"


def figure_rows(figures: Iterable[Figure]) -> Iterator[tuple[str, ...]]:
    """One row for figures that are equal on several sheets: title and formula, sheets, typical, least, most,
    limits, margin."""
    alike: dict[tuple[object, ...], list[Figure]] = {}
    for one in figures:
        key = (one.title, one.value, one.least, one.most, one.limits)
        alike.setdefault(key, []).append(one)
    for group in alike.values():
        one = group[0]
        margin = "ample" if math.isinf(one.margin) else f"{one.margin:.2f} x"
        yield (
            f"{one.title}\n  = {one.formula}",
            "\n".join(other.sheet for other in group),
            *(engineering(value, one.unit) for value in (one.value, one.least, one.most)),
            limits_words(one),
            margin if one.inside else f"OUT {margin}",
        )


def timing_row(timing: Timing) -> tuple[str, ...]:
    """Name, what it enters, typical delay, standard uncertainty before and after a zero check."""
    times = (timing.delay_s, timing.u_s, timing.u_left_s)
    return (timing.name, timing.enters, *(engineering(value, "s") for value in times))


def json_figure(figure: Figure) -> dict[str, Any]:
    """A figure with what follows from it: `inside`, `margin`, and its timing's standard uncertainties."""
    plain: dict[str, Any] = to_plain(figure)
    timing = figure.timing
    if timing is not None:
        plain["timing"] |= {"u_s": timing.u_s, "u_left_s": timing.u_left_s}
    return plain | {"inside": figure.inside, "margin": to_plain(figure.margin)}


def part_row(line: Line) -> tuple[str, ...]:
    """Quantity; part with its reasons and substitute below; references."""
    reasons = "\n".join(f"  {reason}" for reason in line.why)
    return (str(line.quantity), f"{line.sort}\n{reasons}\n  or: {line.substitute}\n", " ".join(line.refs))


def build_rows(build: Build) -> Iterator[tuple[str, str, str]]:
    """Name, title and number of parts of every circuit of a build."""
    for sheet in sheets(build):
        yield sheet.name, sheet.title, str(len(sheet.parts))


def caution_lines(cautions: Iterable[Caution]) -> Iterator[str]:
    """Cautions as wrapped lines, the grave ones marked."""
    for one in cautions:
        yield click.wrap_text(("DANGER: " if one.grave else "") + one.say, 96, "  - ", "    ")
