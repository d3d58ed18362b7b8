"""Every computed value of a build, and the timing errors that feed the uncertainty budget.

Each value is computed from the netlist's own parts and swept over tolerance, temperature, cell and supply
corners; `Figure.inside` is False if any corner leaves the limits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from coincide_firmware.app.pins import PINS
from coincide_wiring.circuits.model import Netlist
from coincide_wiring.circuits.sensors import GATES
from coincide_wiring.figures.controls import control_figures, lamp_figures, light_figures
from coincide_wiring.figures.figure import Figure
from coincide_wiring.figures.gate import gate_figures, gate_lamp_figures
from coincide_wiring.figures.power import power_figures
from coincide_wiring.figures.release import release_figures
from coincide_wiring.figures.solenoid import solenoid_figures
from coincide_wiring.figures.sync import sync_figures
from coincide_wiring.netlist import BODIES, Build, in_use

BODY_OF = {row[0]: row[4] for row in PINS}


@dataclass(frozen=True, slots=True)
class TimingTerm:
    """A component of the uncertainty budget: standard uncertainty in seconds, rectangular, type B.

    `signal` is the row of the pin table whose circuit it belongs to, `body` "A" or "B". `delay_s` is the
    delay about which the rectangle lies. `enters` is 'skew', 'lag' or 'prediction'; a term of
    the skew is one body's share, so a budget of the skew takes both bodies' terms.
    """

    name: str
    signal: str
    body: str
    enters: str
    delay_s: float
    u_s: float
    dof: float = math.inf
    distribution: str = "rectangular"


def figures(build: Build) -> tuple[Figure, ...]:
    """All computed values of a build, sheet by sheet."""
    return figures_of(in_use(build))


def figures_of(netlist: Netlist) -> tuple[Figure, ...]:
    """The same from a netlist, whose values may differ from those of the build."""
    return (
        *(one for body in BODIES for one in release_figures(netlist, body)),
        *(one for body in BODIES for one in solenoid_figures(netlist, body)),
        *(one for body in BODIES for one in sync_figures(netlist, body)),
        *(one for body in BODIES for channel in GATES[body] for one in gate_figures(netlist, channel)),
        *gate_lamp_figures(netlist),
        *control_figures(netlist),
        *light_figures(netlist),
        *lamp_figures(netlist),
        *power_figures(netlist),
    )


def timing_terms(build: Build, zero_checked: bool, how: str) -> tuple[TimingTerm, ...]:
    """What the wiring adds to the uncertainty of a measured time.

    `how` says what mid-exposures come from, 'sync' or 'gate'; `zero_checked` whether a zero check of this
    very wiring is applied. With 'gate' there is one term a sensor: take those of the sensors used. A term of
    the lag or the prediction comes with either. Raises ValueError for another `how`.
    """
    if how not in ("sync", "gate"):
        raise ValueError(f"mid-exposures come from 'sync' or 'gate', not '{how}'")
    timings = [one.timing for one in figures(build) if one.timing is not None]
    wanted = [one for one in timings if one.enters != "skew" or one.signal.startswith(how)]
    return tuple(
        TimingTerm(
            one.name,
            one.signal,
            BODY_OF[one.signal],
            one.enters,
            one.delay_s,
            one.u_left_s if zero_checked else one.u_s,
        )
        for one in wanted
    )
