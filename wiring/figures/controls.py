"""Computed values of the controls, lights, lamp row and supply."""

from __future__ import annotations

from coincide_wiring.circuits import specs
from coincide_wiring.circuits.model import Netlist
from coincide_wiring.figures import formulas as f
from coincide_wiring.figures.figure import Figure, about, named, sweep
from coincide_wiring.figures.shared import OUTPUT_OHM, RAIL, ohm

CONTROL_LEAD_F = 200e-12


def control_figures(netlist: Netlist) -> tuple[Figure, ...]:
    """Buttons and interlock: a pressed one reads low, an opened interlock is seen soon."""
    pull, series, store = (netlist.part(ref) for ref in ("R621", "R622", "C621"))
    low = sweep(f.divider_v, supply_v=RAIL, upper_ohm=ohm(pull), lower_ohm=ohm(series))
    # From the low that the series resistor leaves to what an input takes for high.
    opened = sweep(
        lambda rail_v, pull_ohm, series_ohm, store_f: f.charge_time_s(
            pull_ohm,
            store_f + CONTROL_LEAD_F,
            specs.BOARD["input_high_v"] / rail_v,
            series_ohm / (pull_ohm + series_ohm),
        ),
        rail_v=RAIL,
        pull_ohm=ohm(pull),
        series_ohm=ohm(series),
        store_f=about(store.value("capacitance_f"), store.value("tolerance")),
    )
    parts = (pull.ref, series.ref)
    return (
        Figure(
            "control_low",
            "controls",
            "voltage of a pressed button",
            "rail x Rs/(Rp + Rs)",
            "V",
            *low,
            (None, specs.BOARD["input_low_v"]),
            parts,
        ),
        Figure(
            "interlock_opens",
            "controls",
            "time until an opened interlock is seen",
            "Rp C ln((rail - low)/(rail - V_IH))",
            "s",
            *opened,
            (None, 1e-3),
            (*parts, store.ref),
        ),
    )


def light_figures(netlist: Netlist) -> tuple[Figure, ...]:
    """Currents of the status LEDs and of the transistor's base."""
    found = []
    for number, colour in ((70, "blue"), (71, "orange")):
        series, led, switch = (netlist.part(ref) for ref in (f"R{number}3", f"D{number}", f"Q{number}"))
        current = sweep(
            lambda supply_v, forward_v, drop_v, series_ohm: f.led_current_a(
                supply_v, forward_v + drop_v, series_ohm
            ),
            supply_v=named(specs.USB, "supply_v"),
            forward_v=named(led.values, "forward_v"),
            drop_v=about(switch.value("saturation_v"), 0.5),
            series_ohm=ohm(series),
        )
        base = netlist.part(f"R{number}1")
        drive = sweep(
            lambda rail_v, base_v, base_ohm, pin_ohm: f.led_current_a(rail_v, base_v, base_ohm + pin_ohm),
            rail_v=RAIL,
            base_v=about(switch.value("base_v"), 0.2),
            base_ohm=ohm(base),
            pin_ohm=OUTPUT_OHM,
        )
        found += [
            Figure(
                f"led_{colour}",
                "lights",
                f"current of the {colour} LED",
                "(5 V - Vf - Vce)/R",
                "A",
                *current,
                (1e-3, led.value("current_max_a")),
                (series.ref, led.ref),
            ),
            Figure(
                f"led_{colour}_base",
                "lights",
                f"base current for the {colour} LED",
                "(rail - Vbe)/(R + pin), three times what the gain asks for",
                "A",
                *drive,
                (3 * current[2] / switch.value("gain_min"), specs.BOARD["pin_max_a"]),
                (base.ref, switch.ref),
            ),
        ]
    return tuple(found)


def lamp_figures(netlist: Netlist) -> tuple[Figure, ...]:
    """The lamp row: one lamp, one register full, the rail at power-on when all may light."""
    array, row, register = (netlist.part(ref) for ref in ("RN81", "LB81", "U81"))
    one = sweep(
        lambda rail_v, forward_v, series_ohm, pin_ohm: f.led_current_a(
            rail_v, forward_v, series_ohm + pin_ohm
        ),
        rail_v=RAIL,
        forward_v=named(row.values, "forward_v"),
        series_ohm=ohm(array),
        pin_ohm=about(register.value("output_ohm"), 0.5),
    )
    lines, stages = row.value("lines"), len(netlist.of_kind("shift_register"))
    register_a = tuple(lines * ampere for ampere in one[:3])
    steady_a = sum(part.value("supply_a") for part in netlist.of_kind("comparator", "opamp"))
    pulls_a = sum(
        RAIL[2] / part.value("resistance_ohm")
        for part in netlist.of_kind("resistor")
        if "3V3" in part.pins.values()
    )
    rail_a = tuple(stages * lines * ampere + steady_a + pulls_a for ampere in one[:3])
    return (
        Figure(
            "lamp",
            "lamp_row",
            "current of one lamp",
            "(rail - Vf)/(R + pin)",
            "A",
            *one,
            (1e-3, register.value("output_max_a")),
            (array.ref, row.ref),
        ),
        Figure(
            "lamp_register",
            "lamp_row",
            "supply current of one register, all eight lamps lit",
            "8 x one lamp",
            "A",
            register_a[0],
            register_a[1],
            register_a[2],
            one[3],
            (None, register.value("supply_max_a")),
            (register.ref,),
        ),
        Figure(
            "rail",
            "board",
            "load of the 3.3 V rail at power-on, every lamp lit by chance",
            "lamps + amplifiers + pull-ups",
            "A",
            rail_a[0],
            rail_a[1],
            rail_a[2],
            one[3],
            (None, specs.BOARD["rail_max_a"]),
            ("U1",),
        ),
    )
