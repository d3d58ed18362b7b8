"""Experiments on the driver of a solenoid release."""

from __future__ import annotations

from coincide_wiring.circuits.specs import POWER_MOSFET, SOLENOID
from coincide_wiring.export.experiment import Corner, Experiment
from coincide_wiring.netlist import Build

COIL = Build(release=("solenoid", "contact"))
CLOSES_S, LETS_GO_S = 10e-6, 100e-3
LETS_GO = (
    "v_drive gate_ctl a_sol_n pwl(0 12 100m 12 100.01m 0)",
    "r_drive gate_ctl a_sol_g 10",
    "r_ground a_sol_n 0 0.001",
)
# The release isolator closing at 10 us, its two ohms between the lead's contacts.
ISOLATOR = (
    "r_ground a_sol_n 0 0.001",
    "v_ctl ctl 0 pwl(0 0 10u 0 10.01u 1)",
    "s_isolator a_com a_full ctl 0 closes",
    ".model closes sw(vt=0.5 vh=0 ron=2 roff=1g)",
)


def _on(_: Corner) -> tuple[str, ...]:
    return ("v_gate a_sol_g a_sol_n 11", "r_ground a_sol_n 0 0.001")


def _let_go(_: Corner) -> tuple[str, ...]:
    return LETS_GO


def _closed(_: Corner) -> tuple[str, ...]:
    return ISOLATOR


EXPERIMENTS = (
    Experiment("solenoid_current_a", COIL, "solenoid_a", _on, "op", "i(l_l51a)"),
    # What the coil takes, for the share of the time that it is on, by the kelvin a watt of its datasheet.
    Experiment(
        "solenoid_heat_a",
        COIL,
        "solenoid_a",
        lambda at: (*_on(at), f"v_duty duty 0 {at.of(0.05, 0.0, 0.15):g}"),
        "op",
        f"i(l_l51a)*(v(a_sol_c)-v(a_sol_d))*v(duty)*{SOLENOID['heat_k_per_w']:g}",
    ),
    Experiment(
        "solenoid_flyback_a", COIL, "solenoid_a", _let_go, "tran 2u 110m", "meas tran found max v(a_sol_d)"
    ),
    Experiment(
        "solenoid_decay_a",
        COIL,
        "solenoid_a",
        _let_go,
        "tran 2u 110m",
        "meas tran found when i(l_l51a)=5m fall=last",
        ohms=-1,
        since_s=LETS_GO_S,
    ),
    Experiment(
        "solenoid_gate_a",
        COIL,
        "solenoid_a",
        _closed,
        "tran 100u 700m",
        "meas tran found max v(a_sol_g)",
        ohms=0,
    ),
    *(
        Experiment(
            key,
            COIL,
            "solenoid_a",
            _closed,
            f"tran {step} {end}",
            f"meas tran found when v(a_sol_g)={POWER_MOSFET[name]:g} fall=1",
            ohms=1,
            since_s=CLOSES_S,
        )
        for key, name, step, end in (
            ("solenoid_pull_a", "gate_on_v", "100u", "700m"),
            ("solenoid_let_go_a", "gate_off_v", "500u", "3.5"),
        )
    ),
)
