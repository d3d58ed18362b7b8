"""Computed values of the sync inputs and gate sensors, and the timing errors they add."""

from __future__ import annotations

import math

from coincide_wiring.circuits import specs
from coincide_wiring.circuits.model import Netlist, Part
from coincide_wiring.circuits.sensors import slit_share
from coincide_wiring.figures import formulas as f
from coincide_wiring.figures.figure import Figure, Span, Timing, about, named, sweep
from coincide_wiring.figures.release import RAIL, ohm

SHORTEST_EXPOSURE_S = 2.0**-11  # marked 1/2000
CURTAIN_M_PER_S: Span = (6.0, 3.0, 7.0)  # 36 mm in 12 ms at the slowest, 24 mm in 3.5 ms at the quickest
NODE_F = 70e-12  # collector, lead and pin
PULSE_LED_A = 0.5e-3  # LED current at which the pulse of a wetted contact counts as ended
THRESHOLD_SHARE = 0.05  # how well a person sets the threshold to half
AMPLIFIED_LX = (1.5e3, 0.8e3, 3e3)


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


def _saturation(
    opto: Part, pull: Part, led: tuple[float, float, float, int], sheet: str, body: str
) -> tuple[Figure, ...]:
    """Does the worst optocoupler pull the input low, and how late?"""
    low_v = opto.value("saturation_v")

    def overdrive(led_a: float, rail_v: float, pull_ohm: float, derated: float) -> float:
        return _ratio(opto, led_a, derated > 0) * led_a / ((rail_v - low_v) / pull_ohm)

    led_span: Span = (led[0], led[1], led[2])
    spans = {"rail_v": RAIL, "pull_ohm": ohm(pull), "derated": (0.0, 0.0, 1.0)}
    drive = sweep(overdrive, led_a=led_span, **spans)

    def fall_s(led_a: float, rail_v: float, pull_ohm: float, derated: float) -> float:
        collector_a = _ratio(opto, led_a, derated > 0) * led_a
        return f.node_fall_s(
            NODE_F, rail_v - specs.BOARD["input_low_v"], collector_a, (rail_v - low_v) / pull_ohm
        )

    fall = sweep(fall_s, led_a=led_span, **spans)
    early_s, late_s = fall[1] + opto.value("on_s_min"), fall[2] + opto.value("on_s_max")
    typical_s = fall[0] + (opto.value("on_s_min") + opto.value("on_s_max")) / 2
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
            "CTR(I_F) I_F / ((rail - Vsat)/Rc), CTR at its worst: least grade, cold or hot, aged",
            "",
            *drive,
            (1.2, None),
            parts,
        ),
        Figure(
            f"sync_delay_{low}",
            sheet,
            "delay from contact to input, closing edge",
            "turn-on + C dV/(I_C - I_R)",
            "s",
            typical_s,
            early_s,
            late_s,
            fall[3],
            (None, 100e-6),
            parts,
            # After a zero check: what a fifth of the spread would drift with temperature and cell.
            Timing(
                f"sync optocoupler of body {body}", f"sync_{low}", "skew", typical_s, half_s, 0.2 * half_s
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
        lambda cell_v, feed_ohm: cell_v / feed_ohm, cell_v=named(cell.values, "voltage_v"), feed_ohm=ohm(feed)
    )
    width = sweep(
        lambda series_ohm, store_f, peak_a: f.pulse_width_s(series_ohm, store_f, peak_a, PULSE_LED_A),
        series_ohm=ohm(series),
        store_f=store_span,
        peak_a=(peak[0], peak[1], peak[2]),
    )
    again = sweep(
        lambda feed_ohm, store_f: f.charge_time_s(feed_ohm, store_f, 0.95),
        feed_ohm=ohm(feed),
        store_f=store_span,
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
            "R C ln(Ipeak/0.5 mA)",
            "s",
            *width,
            (0.5e-3, None),
            (series.ref, store.ref),
        ),
        Figure(
            f"sync_recharge_{low}",
            sheet,
            "time between pairs until the capacitor is full again",
            "-Rfeed C ln(1 - 0.95)",
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


def gate_figures(netlist: Netlist, channel: str) -> tuple[Figure, ...]:
    """One gate sensor ("a1" ...): signal, bandwidth, threshold, and the timing error of a slit of light."""
    tag = channel.upper()
    diode, load, comparator, hysteresis, source = (
        netlist.part(f"{ref}{tag}") for ref in ("D41", "R41", "U41", "R44", "R43")
    )
    amplified = any(one.ref == f"U42{tag}" for one in netlist.parts)
    sheet = f"gate_{channel}"
    lux: Span = (
        AMPLIFIED_LX
        if amplified
        else (40e3, specs.GATE_LAMP["illuminance_lx_min"], specs.GATE_LAMP["illuminance_lx_max"])
    )
    share = slit_share(diode) * diode.value("white_led_share")
    signal = sweep(
        lambda lux, a_per_lx, load_ohm: lux * share * a_per_lx * load_ohm,
        lux=lux,
        a_per_lx=about(diode.value("sensitivity_a_per_lx"), 0.2),
        load_ohm=ohm(load),
    )
    bandwidth, extra = (
        _amplified(netlist, tag, sheet) if amplified else (_loaded(diode, load, comparator), ())
    )
    needed_hz = f.bandwidth_needed_hz(SHORTEST_EXPOSURE_S)
    step_v = RAIL[0] * source.value("resistance_ohm") / hysteresis.value("resistance_ohm")
    wobble = sweep(lambda signal_v: step_v / signal_v, signal_v=(signal[0], signal[1], signal[2]))
    width_m = specs.SLIT_MASK["width_m"]
    transit = sweep(lambda m_per_s: width_m / m_per_s / SHORTEST_EXPOSURE_S, m_per_s=CURTAIN_M_PER_S)
    transit_s = width_m / CURTAIN_M_PER_S[1]
    # Hysteresis makes opening and closing late alike: the midpoint moves by half a step of the ramp.
    late_s = wobble[2] / 2 * transit_s
    delay_s = comparator.value("delay_s") + 1 / (2 * math.pi * bandwidth[0])
    unknown_s = late_s + (comparator.value("delay_s_max") - comparator.value("delay_s")) / 2
    parts = (diode.ref, load.ref)
    return (
        Figure(
            f"gate_signal_{channel}",
            sheet,
            "signal with the lamp full on the slit",
            "lx x A/lx x slit share x R",
            "V",
            *signal,
            (0.2, comparator.value("common_mode_v")),
            parts,
        ),
        Figure(
            f"gate_bandwidth_{channel}",
            sheet,
            "bandwidth, against 100/t0 of a 1/2000 s exposure",
            "sqrt(GBW/(2 pi R C)) and 1/(2 pi R Cf), the lower" if amplified else "1/(2 pi R C)",
            "Hz",
            *bandwidth,
            (needed_hz, None),
            parts,
        ),
        Figure(
            f"gate_hysteresis_{channel}",
            sheet,
            "hysteresis as a share of the signal",
            "rail x R43/R44 / signal",
            "",
            *wobble,
            (None, 0.2),
            (hysteresis.ref, source.ref),
            Timing(f"gate sensor {channel}", f"gate_{channel}", "skew", delay_s, unknown_s, unknown_s),
        ),
        Figure(
            f"gate_slit_{channel}",
            sheet,
            "time a curtain edge takes across the slit mask, as a share of 1/2000 s",
            "width/speed/exposure",
            "",
            *transit,
            (None, 0.25),
            (f"H41{tag}",),
        ),
        *extra,
    )


def exposure_error_s() -> float:
    """Half-width of the error of a measured exposure when the threshold is 5 % off half: both ends move."""
    return 2 * THRESHOLD_SHARE * specs.SLIT_MASK["width_m"] / CURTAIN_M_PER_S[1]


def _loaded(diode: Part, load: Part, comparator: Part) -> tuple[float, float, float, int]:
    node_f = diode.value("capacitance_reverse_f") + diode.value("cable_f") + comparator.value("input_f")
    return sweep(f.first_order_bandwidth_hz, resistance_ohm=ohm(load), capacitance_f=about(node_f, 0.2))


def _amplified(
    netlist: Netlist, tag: str, sheet: str
) -> tuple[tuple[float, float, float, int], tuple[Figure, ...]]:
    diode, load, amplifier, back = (netlist.part(f"{ref}{tag}") for ref in ("D41", "R41", "U42", "C43"))
    input_f = diode.value("capacitance_f") + diode.value("cable_f") + amplifier.value("input_f")
    gain_hz, input_span = about(amplifier.value("gain_bandwidth_hz"), 0.2), about(input_f, 0.2)
    back_span = about(back.value("capacitance_f"), back.value("tolerance"))
    bandwidth = sweep(
        lambda gain_hz, load_ohm, input_f, back_f: min(
            f.transimpedance_limit_hz(gain_hz, load_ohm, input_f),
            f.first_order_bandwidth_hz(load_ohm, back_f),
        ),
        gain_hz=gain_hz,
        load_ohm=ohm(load),
        input_f=input_span,
        back_f=back_span,
    )
    steady = sweep(
        lambda gain_hz, load_ohm, input_f, back_f: (
            back_f / f.transimpedance_least_f(gain_hz, load_ohm, input_f)
        ),
        gain_hz=gain_hz,
        load_ohm=ohm(load),
        input_f=input_span,
        back_f=back_span,
    )
    figure = Figure(
        f"gate_steady_{tag.lower()}",
        sheet,
        "feedback capacitor over the least that keeps 45 degrees of phase margin",
        "Cf / sqrt(C/(2 pi R GBW))",
        "",
        *steady,
        (1.0, None),
        (back.ref, amplifier.ref),
    )
    return bandwidth, (figure,)
