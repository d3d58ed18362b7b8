"""Computed values of the sync inputs, and the timing errors they add."""

from __future__ import annotations

from coincide_wiring.circuits import specs
from coincide_wiring.circuits.model import Netlist, Part
from coincide_wiring.figures import formulas as f
from coincide_wiring.figures.figure import Figure, Span, Timing, about, named, sweep
from coincide_wiring.figures.shared import RAIL, ohm

NODE_F = 70e-12  # collector, lead and pin
LEAK_A: Span = (
    0.0,
    0.0,
    specs.BOARD["leak_a"],
)  # what an input of the newer chip may push against the collector
LED_AND_DIODE_V = 2.2  # at the most, below what a steady current through both could drop
LATEST_S = (
    200e-6  # of the high-voltage circuit, whose LED gets a tenth of the others' current; half of it theirs
)
# By how much LED and diode together drop less for each e-fold of current: 26 to 52 mV each.
JUNCTIONS_V: Span = (0.09, 0.0, 0.104)
PULSE_LED_A = 0.5e-3  # LED current at which the pulse of a wetted contact counts as ended


def sync_figures(netlist: Netlist, body: str) -> tuple[Figure, ...]:
    """Sync input of one body, whichever circuit it got."""
    opto, pull, cell, block = (netlist.part(f"{ref}{body}") for ref in ("U21", "R22", "B21", "D22"))
    refs = [one.ref for one in netlist.parts]
    found: list[Figure] = []
    if f"Q21{body}" in refs:
        led, extra = _limited(netlist, body)
        floor_a, minus_v = 0.4e-3, 0.0
    else:
        minus_v = specs.SEMICONDUCTOR_SYNC["drop_v_max"] if f"C21{body}" in refs else 0.0
        led = sweep(
            lambda cell_v, forward_v, block_v, drop_v, series_ohm: f.led_current_a(
                cell_v, forward_v + block_v + drop_v, series_ohm
            ),
            cell_v=named(cell.values, "voltage_v"),
            forward_v=named(opto.values, "forward_v"),
            block_v=named(block.values, "forward_v"),
            drop_v=(0.0, 0.0, minus_v),
            series_ohm=ohm(netlist.part(f"R21{body}")),
        )
        floor_a = 2e-3
        extra = _wetted(netlist, body, led) if f"C21{body}" in refs else ()
    sheet = f"sync_{body.lower()}"
    found.append(
        Figure(
            f"sync_wetting_{body.lower()}",
            sheet,
            "current through contact and LED",
            "(cell - Vf - Vdiode - Vcontact)/R" if f"Q21{body}" not in refs else "Idss (1 - I R/Vt)^2 = I",
            "A",
            *led,
            (floor_a, opto.value("current_max_a")),
            (cell.ref, opto.ref, block.ref, f"R21{body}"),
        )
    )
    return (*found, *_saturation(opto, pull, led, sheet, body), *extra)


def _ratio(opto: Part, led_a: float, derated: bool) -> float:
    derating = ("ratio_cold_or_hot", "ratio_aged", "ratio_saturated") if derated else ("ratio_saturated",)
    return f.transfer_ratio(
        opto.value("ratio_min"),
        led_a,
        opto.value("ratio_at_a"),
        opto.value("ratio_exponent"),
        *(opto.value(name) for name in derating),
    )


def _promised(opto: Part, led_a: float) -> float:
    ratio, ratio_at_a, exponent = (opto.value(name) for name in ("ratio_min", "ratio_at_a", "ratio_exponent"))
    return f.transfer_ratio(ratio, led_a, ratio_at_a, exponent)


def _saturation(
    opto: Part, pull: Part, led: tuple[float, float, float, int], sheet: str, body: str
) -> tuple[Figure, ...]:
    """Does the worst optocoupler pull the input low, and how late?"""
    low_v = opto.value("saturation_v")

    def needed_a(rail_v: float, pull_ohm: float, leak_a: float) -> float:
        return (rail_v - low_v) / pull_ohm + leak_a

    def overdrive(led_a: float, rail_v: float, pull_ohm: float, leak_a: float, derated: float) -> float:
        ratio = _ratio(opto, led_a, True) if derated > 0 else _promised(opto, led_a)
        return ratio * led_a / needed_a(rail_v, pull_ohm, leak_a)

    led_span: Span = (led[0], led[1], led[2])
    spans = {"rail_v": RAIL, "pull_ohm": ohm(pull), "leak_a": LEAK_A, "derated": (0.0, 0.0, 1.0)}
    drive = sweep(overdrive, led_a=led_span, **spans)

    def delay_s(
        led_a: float, rail_v: float, pull_ohm: float, leak_a: float, derated: float, on_s: float
    ) -> float:
        # At its best no derating at all, for the earliest; at its worst all of them, for the latest.
        collector_a = (_ratio(opto, led_a, True) if derated > 0 else _promised(opto, led_a)) * led_a
        swing_v = rail_v - specs.BOARD["input_low_v"]
        fall_s = f.node_fall_s(NODE_F, swing_v, collector_a, needed_a(rail_v, pull_ohm, leak_a))
        return f.turn_on_s(on_s, opto.value("on_at_a"), collector_a) + fall_s

    # An input reads low before the transistor has all of its charge: a tenth sooner than promised at the soonest.
    first_s, last_s = opto.value("on_s_min"), opto.value("on_s_max")
    on_s = ((first_s + last_s) / 2, 0.9 * first_s, last_s)
    typical_s, early_s, late_s, corners = sweep(delay_s, led_a=led_span, on_s=on_s, **spans)
    half_s = (late_s - early_s) / 2
    dark = sweep(
        lambda rail_v, dark_a, pull_ohm: rail_v - dark_a * pull_ohm,
        rail_v=RAIL,
        dark_a=(0.0, 0.0, opto.value("dark_a_max")),
        pull_ohm=ohm(pull),
    )
    parts, low = (opto.ref, pull.ref), body.lower()
    return (
        Figure(
            f"sync_saturation_{low}",
            sheet,
            "collector current on offer over collector current needed",
            "CTR(I_F) I_F / ((rail - Vsat)/Rc + leak), CTR at its worst: least grade, cold or hot, aged",
            "",
            *drive,
            (1.2, None),
            parts,
        ),
        Figure(
            f"sync_delay_{low}",
            sheet,
            "delay from contact to input, closing edge",
            "turn-on x 2 mA/I_C + C dV/(I_C - I_R - leak)",
            "s",
            typical_s,
            early_s,
            late_s,
            corners,
            (None, LATEST_S if led[0] < opto.value("on_at_a") else LATEST_S / 2),
            parts,
            # A rectangle lies about its middle. After a zero check: what a fifth of it would drift with heat and cell.
            Timing(
                f"sync optocoupler of body {body}",
                f"sync_{low}",
                "skew",
                (early_s + late_s) / 2,
                half_s,
                0.2 * half_s,
            ),
        ),
        Figure(
            f"sync_open_{low}",
            sheet,
            "voltage of the input with the contact open",
            "rail - Idark Rc",
            "V",
            *dark,
            (specs.BOARD["input_high_v"], specs.BOARD["input_max_v"]),
            parts,
        ),
    )


def _wetted(netlist: Netlist, body: str, peak: tuple[float, float, float, int]) -> tuple[Figure, ...]:
    """Pulse, recharge and steady current of a contact wetted from a capacitor."""
    feed, series, store, cell = (netlist.part(f"{ref}{body}") for ref in ("R23", "R21", "C21", "B21"))
    store_span = about(store.value("capacitance_f"), store.value("tolerance"))
    steady = sweep(
        lambda cell_v, feed_ohm, drop_v: (cell_v - drop_v) / feed_ohm,
        cell_v=named(cell.values, "voltage_v"),
        feed_ohm=ohm(feed),
        drop_v=(1.4, 0.0, LED_AND_DIODE_V),
    )
    width = sweep(
        # What comes through the feed meanwhile lengthens it a little.
        lambda series_ohm, store_f, peak_a, feed_a, slope_v: f.pulse_width_s(
            series_ohm, store_f, peak_a - feed_a, PULSE_LED_A - feed_a, slope_v
        ),
        series_ohm=ohm(series),
        store_f=store_span,
        peak_a=(peak[0], peak[1], peak[2]),
        feed_a=(steady[0], 0.0, steady[2]),
        slope_v=JUNCTIONS_V,
    )
    again = sweep(
        lambda feed_ohm, store_f, left: f.charge_time_s(feed_ohm, store_f, 0.95, left),
        feed_ohm=ohm(feed),
        store_f=store_span,
        # The two junctions leave their voltage on it, or an output that bounces nothing.
        left=(1.9 / cell.value("voltage_v"), 0.0, LED_AND_DIODE_V / cell.value("voltage_v_min")),
    )
    sheet, low = f"sync_{body.lower()}", body.lower()
    return (
        Figure(
            f"sync_steady_{low}",
            sheet,
            "steady current that could hold a semiconductor on",
            "cell/Rfeed, against the least holding current",
            "A",
            *steady,
            (None, specs.SEMICONDUCTOR_SYNC["holding_a"]),
            (feed.ref, cell.ref),
        ),
        Figure(
            f"sync_pulse_{low}",
            sheet,
            "how long a closing is seen",
            "R C ln(Ipeak/0.5 mA), and what junctions and feed add",
            "s",
            *width,
            (0.5e-3, None),
            (series.ref, store.ref),
        ),
        Figure(
            f"sync_recharge_{low}",
            sheet,
            "time between pairs until the capacitor is full again",
            "Rfeed C ln((1 - left)/0.05)",
            "s",
            *again,
            (None, 1.0),
            (feed.ref, store.ref),
        ),
    )


def _limited(netlist: Netlist, body: str) -> tuple[tuple[float, float, float, int], tuple[Figure, ...]]:
    """Current of the limiter, and what it and the blocking diode stand when the terminal bites."""
    limiter, series, cell, block = (netlist.part(f"{ref}{body}") for ref in ("Q21", "R21", "B21", "D22"))
    # A transistor with a small I_DSS has the small threshold: its two extremes go together.
    ends = [
        f.limiter_current_a(
            limiter.value(f"drain_a_{end}"), limiter.value(f"threshold_v_at_{end}"), series_ohm
        )
        for end, series_ohm in (("min", ohm(series)[2]), ("max", ohm(series)[1]))
    ]
    led = ((ends[0] + ends[1]) / 2, ends[0], ends[1], 2)
    fault_v = specs.TERMINAL["fault_v"]
    power = sweep(
        lambda limit_a, cell_v: limit_a * (fault_v + cell_v),
        limit_a=(led[0], led[1], led[2]),
        cell_v=named(cell.values, "voltage_v"),
    )
    sheet, low = f"sync_{body.lower()}", body.lower()
    return led, (
        Figure(
            f"sync_limiter_{low}",
            sheet,
            "heat in the limiter with 400 V the wrong way round",
            "I (400 V + cell)",
            "W",
            *power,
            (None, limiter.value("power_max_w")),
            (limiter.ref, series.ref),
        ),
        Figure(
            f"sync_block_{low}",
            sheet,
            "reverse voltage on the blocking diode with 400 V the right way round",
            "terminal voltage, half the rating allowed",
            "V",
            fault_v,
            0.0,
            fault_v,
            2,
            (None, block.value("reverse_max_v") / 2),
            (block.ref,),
        ),
    )
