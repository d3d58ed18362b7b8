"""Rows and words `coincide wiring` prints: engineering prefixes, limits, the overview."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any

import click

from coincide.cli.terminal.show import wrapped
from coincide.report.json.plain import to_plain
from coincide.report.words.numbers import count
from coincide_wiring.cautions import Caution
from coincide_wiring.figures.figure import Figure, Timing
from coincide_wiring.freedom import Freedom
from coincide_wiring.netlist import Build, sheets
from coincide_wiring.parts import Extra, Line

if TYPE_CHECKING:
    from coincide_wiring.layout.files import Written

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


def verdict_of(figures: Iterable[Figure]) -> str:
    """Whether every figure is within its limits, and the tightest."""
    found = list(figures)
    out = [one for one in found if not one.inside]
    if out:
        where = "; ".join(f"{one.title} ({one.sheet})" for one in out)
        return f"{len(out)} of {count(len(found), 'figure')} out of limits: {where}."
    tightest = min(found, key=lambda one: one.margin)
    return (
        f"All {len(found)} figures are within their limits; the least margin, {tightest.margin:.2f} times, has the "
        f"{tightest.title[0].lower() + tightest.title[1:]} ({tightest.sheet})."
    )


def figure_lines(figures: Iterable[Figure]) -> Iterator[str]:
    """A paragraph for figures that are equal on several sheets: title and sheets; formula; typical value and
    corners; limits and margin; what it does to the timing."""
    alike: dict[tuple[object, ...], list[Figure]] = {}
    for one in figures:
        key = (one.title, one.value, one.least, one.most, one.limits)
        alike.setdefault(key, []).append(one)
    for group in alike.values():
        one = group[0]
        low, typical, high = (engineering(value, one.unit) for value in (one.least, one.value, one.most))
        margin = "ample" if math.isinf(one.margin) else f"{one.margin:.2f} times"
        title = one.title[0].upper() + one.title[1:]
        yield wrapped(f"{title} ({', '.join(other.sheet for other in group)})", "", "  ")
        yield wrapped(f"= {one.formula}", "    ", "      ")
        yield wrapped(f"{typical}, over {one.corners} corners {low} to {high}", "    ", "      ")
        kept = "" if one.inside else "OUT OF LIMITS: "
        yield wrapped(f"{kept}limits {limits_words(one)}; margin {margin}", "    ", "      ")
        if one.timing is not None:
            yield wrapped(timing_words(one.timing), "    ", "      ")


ENTERS = {"skew": "to a skew", "lag": "to a lag", "prediction": "to what is predicted of the next frame"}


def timing_words(timing: Timing) -> str:
    """'Adds 10 µs to a skew, uncertain by u = 4.67 µs; after a zero check u = 933 ns.'"""
    delay, u, left = (engineering(value, "s") for value in (timing.delay_s, timing.u_s, timing.u_left_s))
    after = "a zero check does not see it" if u == left else f"after a zero check u = {left}"
    return f"Adds {delay} {ENTERS[timing.enters]}, uncertain by u = {u}; {after}."


def freedom_lines(found: Iterable[Freedom]) -> Iterator[str]:
    """'R12A R12B 330 Ω: 200 Ω to 620 Ω.' and whether 5 % will do."""
    for one in found:
        unit = {"ohm": "Ω"}.get(one.unit, one.unit)
        value, low, high = (
            "" if size is None else engineering(size, unit) for size in (one.value, one.least, one.most)
        )
        if low and high:
            span = f"{low} to {high}"
        elif low or high:
            span = f"down to {low}" if low else f"up to {high}"
        else:
            span = "anything from a tenth to ten times"
        told = "" if one.coarse else "; keep to 1 %"
        yield wrapped(f"{' '.join(one.refs)} {value}: {span}{told}", "    ", "      ")


def json_figure(figure: Figure) -> dict[str, Any]:
    """A figure with what follows from it: `inside`, `margin`, and its timing's standard uncertainties."""
    plain: dict[str, Any] = to_plain(figure)
    timing = figure.timing
    if timing is not None:
        plain["timing"] |= {"u_s": timing.u_s, "u_left_s": timing.u_left_s}
    return plain | {"inside": figure.inside, "margin": to_plain(figure.margin)}


def bought(lines: Iterable[Line], extras: Iterable[Extra]) -> str:
    """How much there is to buy."""
    sorts, further = list(lines), list(extras)
    pieces = sum(line.quantity for line in sorts)
    return (
        f"To buy: {count(pieces, 'part')} of {count(len(sorts), 'sort')}, and {count(len(further), 'more line')} of "
        "leads, plugs and what no drawing shows."
    )


def part_lines(lines: Iterable[Line]) -> Iterator[str]:
    """A paragraph a line of the parts list: quantity, part, stage; where; its reasons; its case; what else will do."""
    for line in lines:
        at = ", ".join(str(one) for one in line.stages)
        yield wrapped(f"{line.quantity:3d} x {line.sort} (stage {at})", "", "      ")
        yield wrapped(" ".join(line.refs), "      ", "      ")
        for reason in line.why:
            yield wrapped(f"- {reason}", "      ", "        ")
        yield wrapped(f"case: {line.package}: {line.pins} ({line.first})", "      ", "        ")
        yield wrapped(f"or: {line.substitute}", "      ", "        ")
        if line.mind:
            yield wrapped(f"mind: {line.mind}", "      ", "        ")


def extra_lines(extras: Iterable[Extra]) -> Iterator[str]:
    """A paragraph for each lead and for what no drawing shows."""
    yield "Leads, plugs and what no drawing shows:"
    for one in extras:
        yield wrapped(f"{one.quantity:3d} x {one.name} (stage {one.stage})", "", "      ")
        if one.contacts:
            yield wrapped(f"contacts: {one.contacts}", "      ", "        ")
            yield wrapped(f"far end: {one.far}", "      ", "        ")
        if one.mind:
            yield wrapped(f"mind: {one.mind}", "      ", "        ")


def layout_lines(written: Iterable[Written]) -> Iterator[str]:
    """How many pages, and how to print them; then a paragraph for each page: where it is, how large, how many wires,
    what is kept apart."""
    pages = list(written)
    into = sorted({str(one.path.parent) for one in pages})
    yield f"Wrote {count(len(pages), 'page')} into {', '.join(into)}: print without scaling; the bar on each is 50 mm."
    for one in pages:
        yield f"  {one.path}"
        if not one.columns:
            continue
        wide, high = one.size_mm
        said = f"{one.columns} x {one.rows} holes, {wide:.0f} x {high:.0f} mm; {one.bare_wires} bare wires"
        if one.insulated_wires:
            said += f", {one.insulated_wires} insulated"
        if one.apart_mm is not None:
            said += (
                f"; {one.drilled} pads to drill away leave {one.apart_mm:.1f} mm between what must be apart"
            )
        yield wrapped(f"{said}.", "    ", "    ")


def build_rows(build: Build) -> Iterator[tuple[str, str, str]]:
    """Name, title and number of parts of every circuit of a build."""
    for sheet in sheets(build):
        yield sheet.name, sheet.title, str(len(sheet.parts))


def caution_lines(cautions: Iterable[Caution]) -> Iterator[str]:
    """Cautions as wrapped lines, the grave ones marked."""
    for one in cautions:
        yield wrapped(("DANGER: " if one.grave else "") + one.say, "  - ", "    ")


def amount(typed: str | float) -> float:
    """A meter's reading in volts or, where milliamperes are asked for, 4.5 mA; as `volts` else."""
    text = str(typed).strip()
    return volts(text[:-2] if text.lower().endswith("ma") else text)


def volts(typed: str | float) -> float:
    """A meter's reading as people type it: 3.1, 3,1, -180 V, OL for over range (infinite, with the sign).

    Raises click.BadParameter for anything else.
    """
    text = str(typed).strip().lower().removesuffix("volts").removesuffix("v").strip().replace(",", ".")
    if text.lstrip("+-") in ("ol", "inf", "over", "overload"):
        return math.copysign(math.inf, -1.0 if text.startswith("-") else 1.0)
    try:
        return float(text)
    except ValueError:
        raise click.BadParameter(
            f"'{typed:.40}' is no reading: type it with its sign, as 3.1 or -180; OL for over range."
        ) from None
