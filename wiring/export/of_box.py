"""Experiments on release isolators, controls, lights, lamp row, and the load of the rail."""

from __future__ import annotations

from coincide_wiring.circuits.specs import BOARD, SHIFT_REGISTER
from coincide_wiring.export.experiment import Corner, Experiment
from coincide_wiring.netlist import Build

PLAIN = Build()
OPENS_S = 1e-3
LINES, STAGES = 8, 4
PULLED = ("sync_a", "sync_b", "gate_a1", "gate_a2", "gate_b1", "gate_b2")
CONTROLS = ("button_half", "button_full", "interlock", "wound", "preset")


def _fired(at: Corner) -> tuple[str, ...]:
    return (
        f"v_pin pin 0 {at.rail_v}",
        f"r_pin pin full_a {at.pin_ohm}",
        "v_return led_return 0 0",
        "r_com a_com 0 1g",
    )


def _leaking(at: Corner) -> tuple[str, ...]:
    """A pin of the newer chip that pushes current out while nobody drives it."""
    leak_a = at.of(60e-6, 0.0, BOARD["leak_a"])
    return (f"i_leak 0 full_a {leak_a:g}", "v_return led_return 0 0", "r_com a_com 0 1g")


def _thrown_back(at: Corner) -> tuple[str, ...]:
    """A coil in the body lets go: the current at which breakdown is promised, and what remains of a pulse of 11 A."""
    pulse_a = at.of(1e-3, 1e-3, 11.0)
    return (f"i_coil a_com a_full {pulse_a:g}", "r_com a_com 0 1", "v_return led_return 0 0")


def _lit(at: Corner) -> tuple[str, ...]:
    return (
        "v_usb vbus 0 5",
        f"v_ok ok 0 {at.rail_v}",
        f"r_ok ok led_ok {at.pin_ohm}",
        f"v_out out 0 {at.rail_v}",
        f"r_out out led_out {at.pin_ohm}",
    )


def _usb(at: Corner) -> tuple[str, ...]:
    return tuple(line.replace("vbus 0 5", f"vbus 0 {at.of(5.0, 4.4, 5.25)}") for line in _lit(at))


def _row(at: Corner) -> tuple[str, ...]:
    """Every output of every register high: its eight lines are one in the deck, of an eighth of the resistance."""
    ohm = SHIFT_REGISTER["output_ohm"]
    driver_ohm = at.of(ohm, 1.5 * ohm, 0.5 * ohm) / LINES
    lines = tuple(f"r_q{stage} 3v3 lamp_q{stage}_8_ {driver_ohm:g}" for stage in range(1, STAGES + 1))
    return (f"v_rail 3v3 0 {at.rail_v}", *lines)


def _whole(at: Corner) -> tuple[str, ...]:
    """Everything on the rail at once: lamps lit, every open collector low, every control pressed."""
    low = tuple(f"r_low_{net} {net} 0 1" for net in (*PULLED, *CONTROLS))
    return (*_row(at), *low, ".option rshunt=1e12")


EXPERIMENTS = (
    Experiment("release_led_a", PLAIN, "release_a", _fired, "op", "i(v_k12a)"),
    Experiment("release_boot_a", PLAIN, "release_a", _leaking, "op", "v(full_a)", ohms=1),
    Experiment("release_clamp_a", PLAIN, "release_a", _thrown_back, "op", "v(a_full)-v(a_com)"),
    Experiment(
        "control_low",
        PLAIN,
        "controls",
        lambda at: (f"v_rail 3v3 0 {at.rail_v}", "r_return led_return 0 1k"),
        "op",
        "v(interlock)",
        ohms=0,
    ),
    Experiment(
        "interlock_opens",
        PLAIN,
        "controls",
        lambda at: (
            f"v_rail 3v3 0 {at.rail_v}",
            "r_return led_return 0 1k",
            "c_lead interlock 0 200p",
            "v_ctl ctl 0 pwl(0 1 1m 1 1.0001m 0)",
            "s_opens sw_interlock 0 ctl 0 opens",
            ".model opens sw(vt=0.5 vh=0 ron=0.01 roff=1g)",
        ),
        "tran 0.5u 3m",
        f"meas tran found when v(interlock)={BOARD['input_high_v']} rise=1",
        drive=-1,
        ohms=1,
        since_s=OPENS_S,
        without=("S62",),
    ),
    *(
        Experiment(key, PLAIN, "lights", _usb, "op", read)
        for key, read in (
            ("led_blue", "(v(vbus)-v(led70_a))/@r_r703[resistance]"),
            ("led_orange", "(v(vbus)-v(led71_a))/@r_r713[resistance]"),
        )
    ),
    *(
        Experiment(key, PLAIN, "lights", _lit, "op", read)
        for key, read in (
            ("led_blue_base", "(v(led_ok)-v(led70_b))/@r_r701[resistance]"),
            ("led_orange_base", "(v(led_out)-v(led71_b))/@r_r711[resistance]"),
        )
    ),
    *(
        Experiment(key, PLAIN, "lamp_row", _row, "op", read)
        for key, read in (
            ("lamp", f"(v(lamp_q1_8_)-v(lamp_a1_8_))/@r_rn81[resistance]/{LINES}"),
            ("lamp_register", "(v(lamp_q1_8_)-v(lamp_a1_8_))/@r_rn81[resistance]"),
        )
    ),
    Experiment("rail", PLAIN, "", _whole, "op", "-i(v_rail)"),
)
