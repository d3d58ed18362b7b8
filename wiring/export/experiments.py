"""Every experiment in SPICE, and the computed values that no circuit program can run."""

from __future__ import annotations

import re

from coincide_wiring.export import of_box, of_gate, of_solenoid, of_sync

EXPERIMENTS = (
    *of_box.EXPERIMENTS,
    *of_sync.EXPERIMENTS,
    *of_gate.EXPERIMENTS,
    *of_solenoid.EXPERIMENTS,
)
# Key of a value (a pattern) and why SPICE has nothing to say of it.
NOT_A_CIRCUIT = {
    r"release_contact_\w": "the voltage that a terminal may carry, against a rating",
    r"gate_(slit|blur)_\w\d": "a curtain's edge over a slit: optics, held to traced rays",
    r"gate_light": "light of a lamp at a distance: optics",
    r"solenoid_cut_out_\w": "the temperature at which a thermostat opens, from its sheet",
    r"power_\w+": "a sum of ratings and of currents that are compared above",
}


def why_not_run(key: str) -> str | None:
    """Why a computed value is not run in SPICE; None where it is."""
    return next((why for pattern, why in NOT_A_CIRCUIT.items() if re.fullmatch(pattern, key)), None)
