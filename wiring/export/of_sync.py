"""Experiments on the three sync inputs."""

from __future__ import annotations

from coincide_wiring.circuits.specs import BOARD, CELL_9V, OPTOCOUPLER, TERMINAL
from coincide_wiring.export.experiment import Corner, Experiment
from coincide_wiring.figures.sync import NODE_F, PULSE_LED_A
from coincide_wiring.netlist import Build

PLAIN, HIGH, WETTED = Build(), Build(sync=("high-voltage", "cell")), Build(sync=("wetted", "cell"))
FLOATING = "r_float a_sync_o 0 1meg"
CLOSES_S, LETS_GO_S = 10e-6, 0.1
CONTACT = ".model closes sw(vt=0.5 vh=0 ron=0.01 roff=10g)"
CLOSING = ("v_ctl ctl 0 pwl(0 0 10u 0 10.01u 1)", "s_contact a_sync_c a_sync_o ctl 0 closes", CONTACT)
# Closed from the beginning, open again from 0.1 s on.
OPENING = ("v_ctl ctl 0 pwl(0 1 100m 1 100.01m 0)", "s_contact a_sync_c a_sync_o ctl 0 closes", CONTACT)
BUILDS = ((PLAIN, "sync_cell_a"), (HIGH, "sync_high_voltage_a"))


def _joined(at: Corner) -> tuple[str, ...]:
    return (f"v_r 3v3 0 {at.rail_v}", FLOATING, "r_contact a_sync_c a_sync_o 0.01")


def _offered(_: Corner) -> tuple[str, ...]:
    """The contact closed, the collector held at the voltage up to which it counts as low."""
    return (
        f"v_r 3v3 0 {BOARD['rail_v']}",
        FLOATING,
        "r_contact a_sync_c a_sync_o 0.01",
        f"v_low sync_a 0 {OPTOCOUPLER['saturation_v']}",
    )


def _open(at: Corner) -> tuple[str, ...]:
    dark_a = at.of(0.0, OPTOCOUPLER["dark_a_max"], 0.0)
    return (f"v_r 3v3 0 {at.rail_v}", FLOATING, f"i_dark sync_a 0 {dark_a:g}", "r_open a_sync_c a_sync_o 10g")


def _bitten(volt: float) -> tuple[str, ...]:
    return (f"v_r 3v3 0 {BOARD['rail_v']}", FLOATING, f"v_fault a_sync_c a_sync_o {volt:g}")


EXPERIMENTS = (
    *(Experiment("sync_wetting_a", build, sheet, _joined, "op", "i(v_u21a)") for build, sheet in BUILDS),
    Experiment(
        "sync_wetting_a",
        WETTED,
        "sync_wetted_a",
        lambda at: (f"v_r 3v3 0 {at.rail_v}", FLOATING, *CLOSING),
        "tran 0.5u 200u",
        "meas tran found max i(v_u21a)",
    ),
    *(
        Experiment(
            "sync_delay_a",
            build,
            sheet,
            lambda at: (f"v_r 3v3 0 {at.rail_v}", FLOATING, f"c_node sync_a 0 {NODE_F:g}", *CLOSING),
            "tran 0.1u 400u",
            f"meas tran found when v(sync_a)={BOARD['input_low_v']} fall=1",
            drive=-1,
            ohms=1,
            since_s=CLOSES_S,
        )
        for build, sheet in BUILDS
    ),
    *(
        Experiment(
            "sync_saturation_a",
            build,
            sheet,
            _offered,
            "op",
            f"1-i(v_low)*@r_r22a[resistance]/{BOARD['rail_v'] - OPTOCOUPLER['saturation_v']:g}",
            ohms=1,
        )
        for build, sheet in BUILDS
    ),
    *(
        Experiment("sync_open_a", build, sheet, _open, "op", "v(sync_a)", ohms=-1)
        for build, sheet in (*BUILDS, (WETTED, "sync_wetted_a"))
    ),
    Experiment(
        "sync_steady_a", WETTED, "sync_wetted_a", _joined, "op", "(v(a_wet)-v(a_store))/@r_r23a[resistance]"
    ),
    Experiment(
        "sync_pulse_a",
        WETTED,
        "sync_wetted_a",
        lambda at: (f"v_r 3v3 0 {at.rail_v}", FLOATING, *CLOSING),
        "tran 2u 6m",
        f"meas tran found when i(v_u21a)={PULSE_LED_A:g} fall=1",
        ohms=1,
        since_s=CLOSES_S,
    ),
    Experiment(
        "sync_recharge_a",
        WETTED,
        "sync_wetted_a",
        lambda at: (
            f"v_r 3v3 0 {at.rail_v}",
            FLOATING,
            *OPENING,
            "e_full full a_sync_o a_wet a_sync_o 0.95",
            "b_short short 0 v = v(a_store) - v(full)",
            "r_short short 0 1k",
        ),
        "tran 0.5m 1.2",
        "meas tran found when v(short)=0 rise=1",
        ohms=1,
        since_s=LETS_GO_S,
    ),
    Experiment(
        "sync_limiter_a",
        HIGH,
        "sync_high_voltage_a",
        lambda _: _bitten(-TERMINAL["fault_v"]),
        "op",
        "i(v_u21a)*(v(a_wet)-v(a_limit_s))",
    ),
    Experiment(
        "sync_block_a",
        HIGH,
        "sync_high_voltage_a",
        lambda at: _bitten(at.of(TERMINAL["fault_v"], CELL_9V["voltage_v"], TERMINAL["fault_v"])),
        "op",
        "v(a_sync_c)-v(a_sync_k)",
    ),
)
