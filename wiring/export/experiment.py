"""What an experiment is: a circuit of a build, its stimuli, the analysis, and where the answer is read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from coincide_wiring.netlist import Build


@dataclass(frozen=True, slots=True)
class Corner:
    """Where an experiment is run: `way` 0 as drawn, 1 or -1 where the figure is most or least; the rail's volts and a
    pin's ohms there."""

    way: int
    rail_v: float
    pin_ohm: float

    def of(self, drawn: float, least: float, most: float) -> float:
        """One of three values that are no part's own."""
        return (drawn, most, least)[self.way]


def nothing(_: Corner) -> tuple[str, ...]:
    """No stimuli."""
    return ()


@dataclass(frozen=True, slots=True)
class Experiment:
    """A figure's key, its build and sheet ("" for everything in use); `stimuli` of the corner; analysis and what is
    read: a `meas`, or an expression.

    `drive`, `ohms`, `farads`: which way supplies and transfer ratios, resistances and capacitances go when the figure
    is at its most (1 up, -1 down, 0 as they are). `since_s` is subtracted from a time that is read. `without` names
    parts that are left out, because the stimuli play them; `rewired` gives a part's pin another net.
    """

    key: str
    build: Build
    sheet: str
    stimuli: Callable[[Corner], tuple[str, ...]]
    analysis: str
    read: str
    drive: int = 1
    ohms: int = -1
    farads: int = 1
    since_s: float = 0.0
    without: tuple[str, ...] = ()
    rewired: tuple[tuple[str, str, str], ...] = ()
