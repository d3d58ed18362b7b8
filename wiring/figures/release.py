"""Computed values of the release outputs, controls, lights, lamp row and supply."""

from __future__ import annotations

from coincide_wiring.circuits import specs
from coincide_wiring.circuits.model import Netlist, Part
from coincide_wiring.figures import formulas as f
from coincide_wiring.figures.figure import COLD_C, HOT_C, Figure, Span, Timing, about, named, sweep

RAIL = about(specs.BOARD["rail_v"], specs.BOARD["rail_tolerance"])
OUTPUT_OHM: Span = (specs.BOARD["output_ohm"], 20.0, specs.BOARD["output_ohm_max"])
CONTROL_LEAD_F = 200e-12


def ohm(one: Part) -> Span:
    """(nominal, least, most) of a resistor."""
    return about(one.value("resistance_ohm"), one.value("tolerance"))


def release_figures(netlist: Netlist, body: str) -> tuple[Figure, ...]:
    """Isolators of one body's release outputs."""
    relay, series, down, clamp = (netlist.part(f"{ref}{body}") for ref in ("K12", "R12", "R14", "D12"))
    sheet, parts = f"release_{body.lower()}", (relay.ref, series.ref)
    heated = 1 + relay.value("trigger_per_k") * (HOT_C - 25)
    # The pull-down takes its share of what the pin gives (Thevenin).
    led = sweep(
        lambda rail_v, forward_v, series_ohm, pin_ohm, down_ohm: f.led_current_a(
            f.divider_v(rail_v, pin_ohm, down_ohm),
            forward_v,
            series_ohm + pin_ohm * down_ohm / (pin_ohm + down_ohm),
        ),
        rail_v=RAIL,
        forward_v=named(relay.values, "forward_v"),
        series_ohm=ohm(series),
        pin_ohm=OUTPUT_OHM,
        down_ohm=ohm(down),
    )
    boot = sweep(
        lambda leak_a, down_ohm: leak_a * down_ohm,
        leak_a=(60e-6, 0.0, specs.BOARD["leak_a"]),
        down_ohm=ohm(down),
    )
    on = named(relay.values, "on_s")
    # Of a relay's delay the zero check removes all but its drift: half a per cent a kelvin over ten kelvin.
    drift_s = 0.05 * on[2]
    return (
        Figure(
            f"release_led_{body.lower()}",
            sheet,
            "LED current of the release isolator",
            "(rail - Vf)/(R + pin)",
            "A",
            *led,
            (relay.value("trigger_a") * heated, specs.BOARD["pin_max_a"]),
            parts,
            Timing(
                f"release isolator of body {body}",
                f"full_{body.lower()}",
                "lag",
                # The middle of what is promised and not the typical value: a rectangle lies about it (GUM 4.3.7).
                (on[1] + on[2]) / 2,
                (on[2] - on[1]) / 2,
                drift_s,
            ),
        ),
        Figure(
            f"release_boot_{body.lower()}",
            sheet,
            "voltage of the output while nobody drives it",
            "leak x pull-down",
            "V",
            *boot,
            (None, 0.8 * relay.value("forward_v_min")),
            (down.ref, relay.ref),
        ),
        Figure(
            f"release_clamp_{body.lower()}",
            sheet,
            "voltage at which the suppressor holds the contact when a coil in the body lets go",
            "breakdown to clamping voltage, against what the contact stands",
            "V",
            clamp.value("zener_v"),
            clamp.value("zener_v") * (1 - clamp.value("zener_tolerance")),
            clamp.value("clamp_v"),
            2,
            (specs.TERMINAL["release_max_v"], relay.value("contact_max_v")),
            (clamp.ref, relay.ref),
        ),
        Figure(
            f"release_contact_{body.lower()}",
            sheet,
            "largest voltage across the open release contact",
            "highest terminal voltage blessed for direct connection",
            "V",
            *sweep(lambda terminal_v: terminal_v, terminal_v=(5.0, 0.0, specs.TERMINAL["release_max_v"])),
            (None, relay.value("contact_max_v") / 2),
            (relay.ref,),
        ),
    )


def control_figures(netlist: Netlist) -> tuple[Figure, ...]:
    """Buttons and interlock: a pressed one reads low, an opened interlock is seen soon."""
    pull, series, store = (netlist.part(ref) for ref in ("R621", "R622", "C621"))
    low = sweep(f.divider_v, supply_v=RAIL, upper_ohm=ohm(pull), lower_ohm=ohm(series))
    share = specs.BOARD["input_high_v"] / (specs.BOARD["rail_v"] * (1 - specs.BOARD["rail_tolerance"]))
    opened = sweep(
        lambda pull_ohm, store_f: f.charge_time_s(pull_ohm, store_f + CONTROL_LEAD_F, share),
        pull_ohm=ohm(pull),
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
            "-Rp C ln(1 - V_IH/rail)",
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


def solenoid_figures(netlist: Netlist, body: str) -> tuple[Figure, ...]:
    """Coil current, flyback and heat of one solenoid driver; empty when the body has none."""
    if not any(one.ref == f"L51{body}" for one in netlist.parts):
        return ()
    coil, supply, fuse, switch, clamp, flyback, cut_out, store, bleed = (
        netlist.part(f"{ref}{body}")
        for ref in ("L51", "G51", "F51", "Q51", "D52", "D51", "F52", "C52", "R52")
    )
    sheet = f"solenoid_{body.lower()}"
    coil_span = about(coil.value("coil_ohm"), coil.value("coil_tolerance"))
    hot_c = HOT_C + 30
    supply_span = named(supply.values, "supply_v")

    def current_a(supply_v: float, coil_ohm: float, temperature_c: float) -> float:
        return supply_v / (f.warm_resistance_ohm(coil_ohm, temperature_c) + fuse.value("resistance_ohm"))

    temperature: Span = (20.0, COLD_C, hot_c)
    ampere = sweep(current_a, supply_v=supply_span, coil_ohm=coil_span, temperature_c=temperature)
    clamp_v = about(clamp.value("zener_v") + flyback.value("forward_v"), clamp.value("zener_tolerance"))
    peak = sweep(lambda supply_v, clamp_v: supply_v + clamp_v, supply_v=supply_span, clamp_v=clamp_v)
    decay = sweep(
        lambda supply_v, coil_ohm, clamp_v: f.flyback_decay_s(
            coil.value("inductance_h"), coil_ohm, supply_v / coil_ohm, clamp_v
        ),
        supply_v=supply_span,
        coil_ohm=coil_span,
        clamp_v=clamp_v,
    )
    heat = sweep(
        lambda supply_v, coil_ohm, duty: supply_v**2 / coil_ohm * duty * coil.value("heat_k_per_w"),
        supply_v=supply_span,
        coil_ohm=coil_span,
        duty=(0.05, 0.0, 0.15),
    )
    # A pull's time goes about as the inverse of the current, and that falls as the copper warms.
    slower_s = coil.value("operate_s") * f.COPPER_PER_K * heat[2]
    # Fuse and cut-out take a little of the supply while the coil draws its current.
    kept = 1 - (fuse.value("resistance_ohm") + cut_out.value("resistance_ohm")) / coil_span[1]
    gate = sweep(
        lambda supply_v, kept, upper_ohm, lower_ohm: f.divider_v(supply_v * kept, upper_ohm, lower_ohm),
        supply_v=supply_span,
        kept=(1.0, kept, 1.0),
        upper_ohm=ohm(netlist.part(f"R51{body}")),
        lower_ohm=ohm(netlist.part(f"R53{body}")),
    )
    timing = {
        "bleed_ohm": ohm(bleed),
        "store_f": about(store.value("capacitance_f"), store.value("tolerance")),
    }
    timing |= {"gate_v": (gate[0], gate[1], gate[2])}
    pull = sweep(
        lambda bleed_ohm, store_f, gate_v: f.pulse_width_s(
            bleed_ohm, store_f, gate_v, switch.value("gate_on_v")
        ),
        **timing,
    )
    let_go = sweep(
        lambda bleed_ohm, store_f, gate_v: f.pulse_width_s(
            bleed_ohm, store_f, gate_v, switch.value("gate_off_v")
        ),
        **timing,
    )
    lag_k = cut_out.value("lag_k")
    stuck_c = tuple(cut_out.value(name) + lag_k for name in ("opens_c", "opens_c_min", "opens_c_max"))
    low = body.lower()
    return (
        Figure(
            f"solenoid_current_{low}",
            sheet,
            "coil current, cold to hot",
            "V/(R20 (1 + 0.00393 (T - 20)) + fuse)",
            "A",
            *ampere,
            (coil.value("pull_in_a"), fuse.value("hold_a")),
            (coil.ref, supply.ref, fuse.ref),
        ),
        Figure(
            f"solenoid_flyback_{low}",
            sheet,
            "voltage on the transistor when the coil lets go",
            "V + Vz + Vf",
            "V",
            *peak,
            (None, switch.value("drain_max_v")),
            (switch.ref, clamp.ref, flyback.ref),
        ),
        Figure(
            f"solenoid_decay_{low}",
            sheet,
            "time until the coil's current is gone",
            "L/R ln(1 + I R/Vclamp)",
            "s",
            *decay,
            (None, 5e-3),
            (coil.ref, clamp.ref),
        ),
        Figure(
            f"solenoid_heat_{low}",
            sheet,
            "warming of the coil, up to one 150 ms pull a second",
            "V^2/R x duty x K/W",
            "K",
            *heat,
            (None, coil.value("coil_max_c") - HOT_C),
            (coil.ref,),
            Timing(
                f"solenoid of body {body} warming up",
                f"full_{low}",
                "prediction",
                slower_s / 2,
                slower_s / 2,
                slower_s / 2,
            ),
        ),
        Figure(
            f"solenoid_gate_{low}",
            sheet,
            "gate voltage with the isolator closed",
            "V x Rdown/(Rfeed + Rdown)",
            "V",
            *gate,
            (switch.value("gate_on_v"), switch.value("gate_max_v")),
            (switch.ref, f"R51{body}", f"R53{body}"),
        ),
        Figure(
            f"solenoid_pull_{low}",
            sheet,
            "how long a closure pulls for certain",
            "R C ln(Vgate/8 V)",
            "s",
            *pull,
            (0.18, None),
            (store.ref, bleed.ref, switch.ref),
        ),
        Figure(
            f"solenoid_let_go_{low}",
            sheet,
            "longest pull, the isolator never opening again",
            "R C ln(Vgate/1.5 V)",
            "s",
            *let_go,
            (None, 3.0),
            (store.ref, bleed.ref, switch.ref),
        ),
        Figure(
            f"solenoid_cut_out_{low}",
            sheet,
            "winding when the cut-out opens, the transistor failed closed",
            "cut-out + 15 K, above the hottest in use, below what the coil stands",
            "°C",
            stuck_c[0],
            stuck_c[1],
            stuck_c[2],
            2,
            (HOT_C + heat[2] + lag_k, coil.value("coil_max_c")),
            (cut_out.ref, coil.ref),
        ),
    )
