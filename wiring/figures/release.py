"""Computed values of the release outputs: isolators and what they switch."""

from __future__ import annotations

from coincide_wiring.circuits import specs
from coincide_wiring.circuits.model import Netlist
from coincide_wiring.figures import formulas as f
from coincide_wiring.figures.figure import HOT_C, Figure, Timing, named, sweep
from coincide_wiring.figures.shared import OUTPUT_OHM, RAIL, ohm


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
            # Below the least that an LED drops at its current: what leaks through it then is a third of `holdoff_a`.
            (None, relay.value("forward_v_min")),
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
