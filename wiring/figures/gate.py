"""Computed values of the gate sensors and their lamp, and the timing errors they add."""

from __future__ import annotations

import math

from coincide_wiring.circuits import specs
from coincide_wiring.circuits.model import Netlist, Part
from coincide_wiring.circuits.sensors import slit_share
from coincide_wiring.figures import formulas as f
from coincide_wiring.figures.figure import Figure, Span, Timing, about, named, sweep
from coincide_wiring.figures.shared import RAIL, ohm

SHORTEST_EXPOSURE_S = 2.0**-11  # marked 1/2000
CURTAIN_M_PER_S: Span = (6.0, 3.0, 7.0)  # 36 mm in 12 ms at the slowest, 24 mm in 3.5 ms at the quickest
THRESHOLD_SHARE = 0.05  # how well a person sets the threshold to half
SHORTEST_LEAF_S = 2.0**-9  # marked 1/500
HIGH_GAIN_OHM = 200e3
GAP_M: Span = (2e-3, 1e-3, 3e-3)  # from a curtain to the slit mask on the film rails
CURTAINS_APART_M = 1e-3  # by which the two curtains' gaps differ
LAMP_OFF_AXIS_M = 2e-3  # how well a lamp is centred on the slit
SENSOR_LEAD_F = 150e-12  # of the lead from the sensor's board to the box, 1.5 m


def gate_figures(netlist: Netlist, channel: str) -> tuple[Figure, ...]:
    """One gate sensor ("a1" ...): signal, bandwidth, threshold, and the timing error of a slit of light."""
    tag = channel.upper()
    diode, load, comparator, hysteresis, source, kick, pull = (
        netlist.part(f"{ref}{tag}") for ref in ("D41", "R41", "U41", "R44", "R43", "C45", "R45")
    )
    amplified = any(one.ref == f"U42{tag}" for one in netlist.parts)
    sheet = f"gate_{channel}"
    share = slit_share(diode)
    signal = sweep(
        lambda lux, a_per_lx, load_ohm: lux * share * a_per_lx * load_ohm,
        lux=specs.GATE_LX[_variant(load, amplified)],
        a_per_lx=named(diode.values, "white_a_per_lx"),
        load_ohm=ohm(load),
    )
    bandwidth, extra = (
        _amplified(netlist, tag, sheet) if amplified else (_loaded(diode, load, comparator), ())
    )
    # A lens is in front where a leaf shutter is: nothing there exposes as briefly as a curtain's slit.
    shortest_s = SHORTEST_LEAF_S if _variant(load, amplified) == "through-lens" else SHORTEST_EXPOSURE_S
    needed_hz = f.bandwidth_needed_hz(shortest_s)
    step_v = RAIL[0] * source.value("resistance_ohm") / hysteresis.value("resistance_ohm")
    wobble = sweep(lambda signal_v: step_v / signal_v, signal_v=(signal[0], signal[1], signal[2]))
    fading = sweep(
        lambda series_ohm, kick_f: shortest_s / (series_ohm * kick_f),
        series_ohm=about(hysteresis.value("resistance_ohm") + source.value("resistance_ohm"), 0.01),
        kick_f=about(kick.value("capacitance_f"), kick.value("tolerance")),
    )
    width_m = specs.SLIT_MASK["width_m"]
    transit = sweep(lambda m_per_s: width_m / m_per_s / SHORTEST_EXPOSURE_S, m_per_s=CURTAIN_M_PER_S)
    blur = sweep(
        lambda m_per_s, gap_m, distance_m: (
            (width_m + f.shadow_m(specs.GATE_LAMP["strip_m"], gap_m, distance_m))
            / m_per_s
            / SHORTEST_EXPOSURE_S
        ),
        m_per_s=CURTAIN_M_PER_S,
        gap_m=GAP_M,
        distance_m=named(specs.GATE_LAMP, "distance_m"),
    )
    delay_s = comparator.value("delay_s") + 1 / (2 * math.pi * bandwidth[0])
    # The open collector lets go more slowly than it pulls, by what its pull-up and the lead take to rise.
    rise_s = pull.value("resistance_ohm") * SENSOR_LEAD_F
    unknown_s = lamp_error_s() + (comparator.value("delay_s_max") - comparator.value("delay_s") + rise_s) / 2
    parts = (diode.ref, load.ref)
    return (
        Figure(
            f"gate_signal_{channel}",
            sheet,
            "signal with the lamp full on the slit",
            "lx x A/lx x slit share x R",
            "V",
            *signal,
            (0.15, comparator.value("common_mode_v")),
            parts,
        ),
        Figure(
            f"gate_bandwidth_{channel}",
            sheet,
            f"bandwidth, against 100/t0 of a 1/{round(1 / shortest_s / 100) * 100} s exposure",
            "half power of 1/(1 + s R Cf + s^2 R (C + Cf)/(2 pi GBW))" if amplified else "1/(2 pi R C)",
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
            (None, 0.1),
            (hysteresis.ref, source.ref),
            Timing(f"gate sensor {channel}", f"gate_{channel}", "skew", delay_s, unknown_s, unknown_s),
        ),
        Figure(
            f"gate_centred_{channel}",
            sheet,
            "the shortest exposure over the time in which the hysteresis fades: both edges at one threshold",
            "exposure/((R43 + R44) C45)",
            "",
            *fading,
            (4.0, None),
            (hysteresis.ref, kick.ref),
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
        Figure(
            f"gate_blur_{channel}",
            sheet,
            "the same with the half shadow of a lamp that is no point: below 1 the light still reaches its full height",
            "(width + strip x gap/distance)/speed/exposure",
            "",
            *blur,
            (None, 0.8),
            (f"H41{tag}", "D45"),
        ),
        *extra,
    )


def _variant(load: Part, amplified: bool) -> str:
    if not amplified:
        return "load"
    return "through-lens" if load.value("resistance_ohm") > HIGH_GAIN_OHM else "transimpedance"


def lamp_error_s() -> float:
    """Half-width of what an extended lamp does to a midpoint. It stands beside the slit's axis, so that its light
    passes the curtains beside the slit; a threshold that is not half the light moves edges of unlike blur unlike."""
    slowest, nearest = CURTAIN_M_PER_S[1], specs.GATE_LAMP["distance_m_min"]
    aside_m = f.shadow_m(LAMP_OFF_AXIS_M, GAP_M[2], nearest)
    unlike_m = THRESHOLD_SHARE * f.shadow_m(specs.GATE_LAMP["strip_m"], CURTAINS_APART_M, nearest)
    return (aside_m + unlike_m / 2) / slowest


def gate_lamp_figures(netlist: Netlist) -> tuple[Figure, ...]:
    """Light of the drawn lamp at the slit."""
    lamp = netlist.part("D45")
    strip_m2 = lamp.value("strip_m") * lamp.value("strip_across_m")
    light = sweep(
        lambda flux_lm, passed, distance_m: f.strip_lux(2 * flux_lm * passed, strip_m2, distance_m),
        flux_lm=named(lamp.values, "flux_lm"),
        passed=named(lamp.values, "passed"),
        distance_m=named(lamp.values, "distance_m"),
    )
    _, least, most = specs.GATE_LX["transimpedance"]
    return (
        Figure(
            "gate_light",
            "gate_lamp",
            "light at the slit, the lamp 90 to 50 mm away",
            "flux/(pi d^2 + strip)",
            "lx",
            *light,
            (least, most),
            ("D45", "D46"),
        ),
    )


def exposure_error_s() -> float:
    """Half-width of the error of a measured exposure: a threshold 5 % off half moves both ends, each over the slit and
    its half shadow; a lamp aside moves the two curtains' edges unlike."""
    slowest, nearest = CURTAIN_M_PER_S[1], specs.GATE_LAMP["distance_m_min"]
    edge_m = specs.SLIT_MASK["width_m"] + f.shadow_m(specs.GATE_LAMP["strip_m"], GAP_M[2], nearest)
    aside_m = f.shadow_m(LAMP_OFF_AXIS_M, CURTAINS_APART_M, nearest)
    return (2 * THRESHOLD_SHARE * edge_m + aside_m) / slowest


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
        f.transimpedance_bandwidth_hz,
        gain_bandwidth_hz=gain_hz,
        resistance_ohm=ohm(load),
        input_f=input_span,
        back_f=back_span,
    )
    steady = sweep(
        f.transimpedance_margin_deg,
        gain_bandwidth_hz=gain_hz,
        resistance_ohm=ohm(load),
        input_f=input_span,
        back_f=back_span,
    )
    figure = Figure(
        f"gate_steady_{tag.lower()}",
        sheet,
        "phase margin of the amplifier",
        "90 - atan(fc/fp) + atan(fc/fz), fc where the loop's gain is one",
        "°",
        *steady,
        (45.0, None),
        (back.ref, amplifier.ref, load.ref),
    )
    return bandwidth, (figure,)
