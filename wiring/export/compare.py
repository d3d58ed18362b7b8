"""The computed values against ngspice: the exported deck of each circuit, run as drawn and at both ends of its parts.

ngspice is a general-purpose program (Debian package `ngspice`); without it there is nothing to compare with.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import dataclass, replace
from functools import cache

from coincide_wiring.circuits.model import Part
from coincide_wiring.circuits.specs import BOARD
from coincide_wiring.export.experiment import Corner, Experiment
from coincide_wiring.export.experiments import EXPERIMENTS
from coincide_wiring.export.spice import deck
from coincide_wiring.figures.build import figures
from coincide_wiring.figures.figure import Figure
from coincide_wiring.netlist import Build, in_use, sheets

RUN_S = 60
NOTHING = 1e-15  # what a solver leaves of naught, in any unit here
FOUND = re.compile(r"^found\s*=\s*(\S+)", re.MULTILINE)
DERATED = ("ratio_cold_or_hot", "ratio_aged")
PIN_OHM = {1: 20.0, 0: BOARD["output_ohm"], -1: BOARD["output_ohm_max"]}


@dataclass(frozen=True, slots=True)
class Compared:
    """A computed value with its corners, and what SPICE found: as drawn, and at the ends of the parts."""

    key: str
    sheet: str
    unit: str
    value: float
    least: float
    most: float
    spice: float
    spice_least: float
    spice_most: float

    @property
    def circuit(self) -> str:
        """The sheet's name, or what stands for all of them."""
        return self.sheet or "all in use"

    @property
    def inside(self) -> bool:
        """SPICE's value as drawn lies within the stated range."""
        return self.least <= self.spice <= self.most

    @property
    def covered(self) -> bool:
        """So do its ends, but for a fiftieth."""
        return self.least * 0.98 <= self.spice_least and self.spice_most <= self.most * 1.02

    @property
    def deviation(self) -> float:
        """SPICE's value as drawn against ours, a share of ours."""
        return self.spice / self.value - 1


def available() -> bool:
    """Whether ngspice is on this machine."""
    return shutil.which("ngspice") is not None


def compared() -> tuple[Compared, ...]:
    """Every experiment run at three points. Raises RuntimeError where a run gives no answer."""
    return tuple(_compared(one) for one in EXPERIMENTS)


def _compared(one: Experiment) -> Compared:
    figure = _figures(one.build)[one.key]
    drawn, ends = run(one, 0), sorted(run(one, way) for way in (-1, 1))
    return Compared(
        one.key, one.sheet, figure.unit, figure.value, figure.least, figure.most, drawn, ends[0], ends[1]
    )


def run(one: Experiment, way: int) -> float:
    """One run: as drawn (0), or with every part at the end that makes the figure most (1) or least (-1)."""
    title, drawn = _circuit(one.build, one.sheet)
    parts = [_at_its_end(_rewired(part, one), one, way) for part in drawn if part.ref not in one.without]
    rail_v = BOARD["rail_v"] * (1 + way * one.drive * BOARD["rail_tolerance"])
    reads = one.read if one.read.startswith(("meas", "let")) else f"let found = {one.read}"
    control = (".control", "set noaskquit", one.analysis, reads, "print found", "quit", ".endc")
    text = deck(title, parts, (*one.stimuli(Corner(way, rail_v, PIN_OHM[way * one.drive])), *control))
    done = subprocess.run(
        ["ngspice", "-b"], input=text, capture_output=True, text=True, timeout=RUN_S, check=False
    )
    found = FOUND.findall(done.stdout)
    if not found:
        raise RuntimeError(f"{one.key} on {one.sheet}: {done.stdout[-600:]}{done.stderr[-600:]}")
    return float(found[-1]) - one.since_s


@cache
def _circuit(build: Build, sheet: str) -> tuple[str, tuple[Part, ...]]:
    """Title and parts of one sheet of a build, or of everything in use."""
    if not sheet:
        return "everything in use", in_use(build).parts
    (found,) = [one for one in sheets(build) if one.name == sheet]
    return found.title, found.parts


@cache
def _figures(build: Build) -> dict[str, Figure]:
    return {one.key: one for one in figures(build)}


def _rewired(part: Part, one: Experiment) -> Part:
    moved = {pin: net for ref, pin, net in one.rewired if ref == part.ref}
    return replace(part, pins={**part.pins, **moved}) if moved else part


def _at_its_end(part: Part, one: Experiment, way: int) -> Part:
    """The part at the end of its tolerance that pushes the figure `way`."""
    if way == 0:
        return part
    values, drive = dict(part.values), way * one.drive
    for name, end in (("forward_v", -drive), ("voltage_v", drive), ("supply_v", drive)):
        if f"{name}_min" in values:
            values[name] = values[f"{name}_{'max' if end > 0 else 'min'}"]
    if "resistance_ohm" in values and "tolerance" in values:
        values["resistance_ohm"] *= 1 + way * one.ohms * values["tolerance"]
    if "coil_ohm" in values:
        values["coil_ohm"] *= 1 + way * one.ohms * values["coil_tolerance"]
    if "capacitance_f" in values and "tolerance" in values:
        values["capacitance_f"] *= 1 + way * one.farads * values["tolerance"]
    if "zener_tolerance" in values:
        values["zener_v"] *= 1 + drive * values["zener_tolerance"]
    if "ratio_min" in values and drive < 0:
        for name in DERATED:
            values["ratio_min"] *= values[name]
    if "on_s_min" in values:
        end_s = values["on_s_min" if drive > 0 else "on_s_max"]
        values |= {"on_s_min": end_s, "on_s_max": end_s}
    if "drain_a_min" in values:
        limit = "max" if drive > 0 else "min"
        values |= {"drain_a_min": values[f"drain_a_{limit}"], "drain_a_max": values[f"drain_a_{limit}"]}
        threshold_v = values[f"threshold_v_at_{limit}"]
        values |= {"threshold_v_at_min": threshold_v, "threshold_v_at_max": threshold_v}
    return replace(part, values=values)


def as_markdown(found: tuple[Compared, ...]) -> str:
    """The table of docs/spice.md."""
    lines = [
        "| value | circuit | ours, least to most | SPICE as drawn | at the ends | deviation |",
        "|---|---|---|---|---|---|",
    ]
    for one in found:
        ours = f"{one.value:.3g} ({one.least:.3g} to {one.most:.3g}) {one.unit}"
        least = 0.0 if abs(one.spice_least) < NOTHING else one.spice_least
        ends = f"{least:.3g} to {one.spice_most:.3g}"
        lines.append(
            f"| {one.key} | {one.circuit} | {ours} | {one.spice:.3g} | {ends} | {one.deviation:+.1%} |"
        )
    return "\n".join(lines)
