"""What the box draws from its 5 V, waiting and firing: can a power bank give it, and will it stay awake?"""

from __future__ import annotations

from coincide_wiring.circuits import specs
from coincide_wiring.circuits.model import Netlist
from coincide_wiring.figures.controls import light_figures
from coincide_wiring.figures.figure import Figure, Span, about, named, sweep
from coincide_wiring.figures.release import release_figures
from coincide_wiring.netlist import BODIES


def power_figures(netlist: Netlist) -> tuple[Figure, ...]:
    """Current from the 5 V while waiting, with and without the plug that keeps a power bank awake, and while a pair is
    fired; heat of that plug; hours from a power bank."""
    board = netlist.part("U1")
    sensors_a = sum(one.value("supply_a") for one in netlist.of_kind("comparator", "opamp"))
    share: Span = (0.85, board.value("rail_share_min"), board.value("rail_share_max"))
    # Sensors may be unplugged: what a bank sees at the least is the board alone.
    waiting = sweep(
        lambda board_a, rail_a, share: board_a + share * rail_a,
        board_a=named(board.values, "supply_a"),
        rail_a=(sensors_a, 0.0, sensors_a),
        share=share,
    )
    leds = [
        next(one for one in release_figures(netlist, body) if one.key.startswith("release_led"))
        for body in BODIES
    ]
    lamps = [one for one in light_figures(netlist) if one.key in ("led_blue", "led_orange")]
    firing = tuple(
        waiting_a + 2 * sum(pick(one) for one in leds) + sum(pick(one) for one in lamps)
        for waiting_a, pick in zip(
            waiting[:3],
            (lambda one: one.value, lambda one: one.least, lambda one: one.most),
            strict=True,
        )
    )
    bank = specs.POWER_BANK
    supply, plug = named(specs.USB, "supply_v"), about(bank["plug_ohm"], 0.05)
    awake = sweep(
        lambda supply_v, plug_ohm, waiting_a: supply_v / plug_ohm + waiting_a,
        supply_v=(supply[0], 4.75, supply[2]),
        plug_ohm=plug,
        waiting_a=(waiting[0], waiting[1], waiting[2]),
    )
    heat = sweep(lambda supply_v, plug_ohm: supply_v**2 / plug_ohm, supply_v=supply, plug_ohm=plug)
    hours = sweep(
        lambda charge_c, waiting_a: charge_c * bank["cell_v"] * bank["efficiency"] / supply[0] / waiting_a,
        charge_c=about(bank["charge_c"], 0.2),
        waiting_a=(awake[0], awake[1], awake[2]),
    )
    most_a = specs.USB["current_max_a"]
    refs = ("U1",)
    return (
        Figure(
            "power_waiting",
            "board",
            "current from the 5 V while the box waits, gate sensors unplugged at the least",
            "board + share x (amplifiers + comparators)",
            "A",
            *waiting,
            (None, most_a),
            refs,
        ),
        Figure(
            "power_firing",
            "board",
            "the same while a pair is closed and both lights shine",
            "waiting + four isolators + two lights",
            "A",
            firing[0],
            firing[1],
            firing[2],
            waiting[3],
            (None, most_a),
            (*refs, *(ref for one in (*leds, *lamps) for ref in one.parts)),
        ),
        Figure(
            "power_awake",
            "board",
            "current from a power bank while the box waits, the keep-awake plug beside it",
            "5 V/plug + waiting, against the load under which banks switch off",
            "A",
            *awake,
            (bank["sleeps_a_max"], most_a),
            refs,
        ),
        Figure(
            "power_plug",
            "board",
            "heat in the keep-awake plug",
            "V^2/R, half the rating allowed",
            "W",
            *heat,
            (None, bank["plug_power_w"] / 2),
            refs,
        ),
        Figure(
            "power_lasts",
            "board",
            "how long a power bank of 10 Ah lasts so: a day at the least",
            "Ah x 3.7 V x 0.85/5 V / current",
            "s",
            *hours,
            (12 * 3600.0, None),
            refs,
        ),
    )
