"""What is run in SPICE for which computed value: circuit, stimuli, analysis, and where the answer is read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from coincide_wiring.circuits.sensors import slit_share
from coincide_wiring.circuits.specs import GATE_LX
from coincide_wiring.netlist import Build, sheets

HIGH, WETTED = Build(sync=("high-voltage", "cell")), Build(sync=("wetted", "cell"))
COIL = Build(release=("solenoid", "contact"))
FLOATING = "r_float a_sync_o 0 1meg"
JOINED = "r_contact a_sync_c a_sync_o 0.01"
CLOSES_S, LETS_GO_S = 10e-6, 100e-3
CLOSING = (
    "v_ctl ctl 0 pwl(0 0 10u 0 10.01u 1)",
    "s_contact a_sync_c a_sync_o ctl 0 closes",
    ".model closes sw(vt=0.5 vh=0 ron=0.01 roff=10g)",
)
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
Stimuli = Callable[[float, float], tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Experiment:
    """A figure's key, its build and sheet; `stimuli` of the rail's volts and a pin's ohms; analysis and what is read.

    `drive`, `ohms`, `farads`: which way supplies and transfer ratios, resistances and capacitances go when the figure
    is at its most (1 up, -1 down, 0 as they are). `since_s` is subtracted from a time that is read.
    """

    key: str
    build: Build
    sheet: str
    stimuli: Stimuli
    analysis: str
    read: str
    drive: int = 1
    ohms: int = -1
    farads: int = 1
    since_s: float = 0.0


def _light_a(variant: str) -> Callable[[float, float], tuple[str, ...]]:
    def lit(rail_v: float, _: float) -> tuple[str, ...]:
        (sheet,) = [one for one in sheets(Build(gate=(variant, variant))) if one.name.endswith("_a1")]
        diode = sheet.part("D41A1")
        ampere = GATE_LX[variant][0] * diode.value("white_a_per_lx") * slit_share(diode)
        return (f"v_rail 3v3 0 {rail_v}", f"i_light sum_a1 0 dc {ampere:g} ac 1u")

    return lit


EXPERIMENTS = (
    Experiment(
        "release_led_a",
        Build(),
        "release_a",
        lambda v, r: (
            f"v_pin pin 0 {v}",
            f"r_pin pin full_a {r}",
            "v_return led_return 0 0",
            "r_com a_com 0 1g",
        ),
        "op",
        "i(v_k12a)",
    ),
    Experiment(
        "control_low",
        Build(),
        "controls",
        lambda v, _: (f"v_rail 3v3 0 {v}", "r_return led_return 0 1k"),
        "op",
        "v(interlock)",
        ohms=0,
    ),
    *(
        Experiment(
            key,
            Build(),
            "lights",
            lambda v, r: (
                "v_usb vbus 0 5",
                f"v_ok ok 0 {v}",
                f"r_ok ok led_ok {r}",
                f"v_out out 0 {v}",
                f"r_out out led_out {r}",
            ),
            "op",
            read,
        )
        for key, read in (
            ("led_blue", "(v(vbus)-v(led70_a))/@r_r703[resistance]"),
            ("led_orange", "(v(vbus)-v(led71_a))/@r_r713[resistance]"),
        )
    ),
    Experiment(
        "sync_wetting_a",
        Build(),
        "sync_cell_a",
        lambda v, _: (f"v_r 3v3 0 {v}", FLOATING, JOINED),
        "op",
        "i(v_u21a)",
    ),
    Experiment(
        "sync_wetting_a",
        HIGH,
        "sync_high_voltage_a",
        lambda v, _: (f"v_r 3v3 0 {v}", FLOATING, JOINED),
        "op",
        "i(v_u21a)",
    ),
    *(
        Experiment(
            "sync_delay_a",
            build,
            sheet,
            lambda v, _: (f"v_r 3v3 0 {v}", FLOATING, "c_node sync_a 0 70p", *CLOSING),
            "tran 0.1u 400u",
            "meas tran found when v(sync_a)=0.8 fall=1",
            drive=-1,
            ohms=1,
            since_s=CLOSES_S,
        )
        for build, sheet in ((Build(), "sync_cell_a"), (HIGH, "sync_high_voltage_a"))
    ),
    Experiment(
        "sync_steady_a",
        WETTED,
        "sync_wetted_a",
        lambda v, _: (f"v_r 3v3 0 {v}", FLOATING, JOINED),
        "op",
        "(v(a_wet)-v(a_store))/@r_r23a[resistance]",
    ),
    Experiment(
        "gate_signal_a1",
        Build(),
        "gate_transimpedance_a1",
        _light_a("transimpedance"),
        "op",
        "v(light_a1)",
        ohms=1,
    ),
    Experiment(
        "gate_bandwidth_a1",
        Build(),
        "gate_transimpedance_a1",
        _light_a("transimpedance"),
        "ac dec 200 1k 10meg",
        "meas ac found when vdb(light_a1)=-23.01 fall=1",
        farads=-1,
    ),
    Experiment(
        "solenoid_current_a",
        COIL,
        "solenoid_a",
        lambda *_: ("v_gate a_sol_g a_sol_n 11", "r_ground a_sol_n 0 0.001"),
        "op",
        "i(l_l51a)",
    ),
    Experiment(
        "solenoid_flyback_a",
        COIL,
        "solenoid_a",
        lambda *_: LETS_GO,
        "tran 2u 110m",
        "meas tran found max v(a_sol_d)",
    ),
    Experiment(
        "solenoid_decay_a",
        COIL,
        "solenoid_a",
        lambda *_: LETS_GO,
        "tran 2u 110m",
        "meas tran found when i(l_l51a)=5m fall=last",
        ohms=-1,
        since_s=LETS_GO_S,
    ),
    Experiment(
        "solenoid_gate_a",
        COIL,
        "solenoid_a",
        lambda *_: ISOLATOR,
        "tran 100u 700m",
        "meas tran found max v(a_sol_g)",
        ohms=0,
    ),
    Experiment(
        "solenoid_pull_a",
        COIL,
        "solenoid_a",
        lambda *_: ISOLATOR,
        "tran 100u 700m",
        "meas tran found when v(a_sol_g)=8 fall=1",
        ohms=1,
        since_s=CLOSES_S,
    ),
)
