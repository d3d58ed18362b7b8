"""Computed values of the driver of a solenoid release."""

from __future__ import annotations

from coincide_wiring.circuits.model import Netlist
from coincide_wiring.figures import formulas as f
from coincide_wiring.figures.figure import COLD_C, HOT_C, Figure, Span, Timing, about, named, sweep
from coincide_wiring.figures.shared import ohm


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
    # Clamp and flyback diode have a resistance of their own, an ohm or two together.
    peak = sweep(
        lambda supply_v, clamp_v, own_ohm, coil_a: supply_v + clamp_v + own_ohm * coil_a,
        supply_v=supply_span,
        clamp_v=clamp_v,
        own_ohm=(1.0, 0.0, 2.0),
        coil_a=(ampere[0], ampere[1], ampere[2]),
    )
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
            "V + Vz + Vf + I r",
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
