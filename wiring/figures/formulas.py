"""Electrical formulas used by the computed values. SI throughout; each names where it comes from."""

from __future__ import annotations

import math

COPPER_PER_K = 0.00393  # temperature coefficient of copper's resistance at 20 deg C, handbook value (memory)


def led_current_a(supply_v: float, forward_v: float, resistance_ohm: float) -> float:
    """Ohm's law for an LED and its series resistance."""
    return (supply_v - forward_v) / resistance_ohm


def transfer_ratio(
    ratio_min: float, led_a: float, ratio_at_a: float, exponent: float, *derating: float
) -> float:
    """Transfer ratio of an optocoupler at a current below the one it is promised at.

    Phototransistor gain falls with current; a power law fits common datasheet curves (memory). Never above
    the promise. Deratings multiply.
    """
    shape = min(1.0, math.pow(led_a / ratio_at_a, exponent))
    return ratio_min * shape * math.prod(derating)


def node_fall_s(capacitance_f: float, swing_v: float, drive_a: float, pull_a: float) -> float:
    """Time in which a driver, less what the pull-up feeds, discharges a node through a swing."""
    return capacitance_f * swing_v / (drive_a - pull_a)


def turn_on_s(promised_s: float, promised_a: float, collector_a: float) -> float:
    """Turn-on time of a phototransistor at another collector current than it is promised for.

    The light carries a fixed charge to base and junctions, so the time goes as the inverse of the current (memory).
    """
    return promised_s * promised_a / collector_a


def first_order_bandwidth_hz(resistance_ohm: float, capacitance_f: float) -> float:
    """-3 dB bandwidth of a resistance with a capacitance: 1/(2 pi R C)."""
    return 1 / (2 * math.pi * resistance_ohm * capacitance_f)


def rise_time_s(bandwidth_hz: float) -> float:
    """10 to 90 % rise time of a first-order system: ln 9/(2 pi f), customarily 0.35/f."""
    return math.log(9) / (2 * math.pi * bandwidth_hz)


def bandwidth_needed_hz(open_s: float) -> float:
    """Detector bandwidth for a total open time, toe to toe: 100/t0 (ISO 516:2019, test method)."""
    return 100 / open_s


def transimpedance_limit_hz(gain_bandwidth_hz: float, resistance_ohm: float, input_f: float) -> float:
    """Where amplifier and feedback resistor meet: sqrt(GBW/(2 pi R C)); amplifier application notes (memory)."""
    return math.sqrt(gain_bandwidth_hz / (2 * math.pi * resistance_ohm * input_f))


def transimpedance_bandwidth_hz(
    gain_bandwidth_hz: float, resistance_ohm: float, input_f: float, back_f: float
) -> float:
    """-3 dB bandwidth of a photodiode amplifier: 1/(1 + s R Cf + s^2 R (C + Cf)/(2 pi GBW)) at half power.

    With d = 2 pi f0 R Cf the half-power point x = (f/f0)^2 solves (1 - x)^2 + x d^2 = 2 (control textbook).
    """
    meet_hz = transimpedance_limit_hz(gain_bandwidth_hz, resistance_ohm, input_f + back_f)
    spread = 2 - (2 * math.pi * meet_hz * resistance_ohm * back_f) ** 2
    return meet_hz * math.sqrt((spread + math.sqrt(spread**2 + 4)) / 2)


def transimpedance_margin_deg(
    gain_bandwidth_hz: float, resistance_ohm: float, input_f: float, back_f: float
) -> float:
    """Phase margin of a photodiode amplifier, degrees.

    Its loop gain is GBW/(j f) (1 + j f/fz)/(1 + j f/fp), fz = 1/(2 pi R Cf), fp = 1/(2 pi R (C + Cf)); where that is
    one, x = f^2 solves x^2/fp^2 + x (1 - GBW^2/fz^2) = GBW^2 (control textbook).
    """
    zero_s, pole_s = (2 * math.pi * resistance_ohm * farad for farad in (back_f, input_f + back_f))
    b = 1 - (gain_bandwidth_hz * zero_s) ** 2
    square = (-b + math.sqrt(b * b + 4 * (pole_s * gain_bandwidth_hz) ** 2)) / (2 * pole_s**2)
    cross_hz = math.sqrt(square)
    return math.degrees(math.pi / 2 - math.atan(cross_hz * pole_s) + math.atan(cross_hz * zero_s))


def limiter_current_a(drain_a: float, threshold_v: float, resistance_ohm: float) -> float:
    """Current of a depletion MOSFET pinched off by its source resistor.

    Square law I = I_DSS (1 - I R/V_T)^2, solved for I: the smaller root. Semiconductor textbook.
    """
    slope = resistance_ohm / threshold_v
    a, b, c = drain_a * slope**2, -(2 * drain_a * slope + 1), drain_a
    return (-b - math.sqrt(b * b - 4 * a * c)) / (2 * a)


def pulse_width_s(
    resistance_ohm: float, capacitance_f: float, peak_a: float, least_a: float, slope_v: float = 0.0
) -> float:
    """How long a discharging capacitor's current stays above a level: RC ln(peak/least), and C V (1/least - 1/peak) for
    the junctions in its way, whose voltage falls by `slope_v` for each e-fold of the current."""
    decay_s = resistance_ohm * capacitance_f * math.log(peak_a / least_a)
    return decay_s + capacitance_f * slope_v * (1 / least_a - 1 / peak_a)


def warm_resistance_ohm(resistance_ohm: float, temperature_c: float) -> float:
    """Resistance of a copper winding given at 20 deg C."""
    return resistance_ohm * (1 + COPPER_PER_K * (temperature_c - 20))


def flyback_decay_s(inductance_h: float, resistance_ohm: float, current_a: float, clamp_v: float) -> float:
    """Time in which a coil's current falls to zero against a clamp: L/R ln(1 + I R/V)."""
    return inductance_h / resistance_ohm * math.log(1 + current_a * resistance_ohm / clamp_v)


def divider_v(supply_v: float, upper_ohm: float, lower_ohm: float) -> float:
    """Voltage of an unloaded divider across its lower part."""
    return supply_v * lower_ohm / (upper_ohm + lower_ohm)


def charge_time_s(resistance_ohm: float, capacitance_f: float, share: float, begun: float = 0.0) -> float:
    """Time in which a capacitor charges from one share of its supply to another: RC ln((1 - begun)/(1 - share))."""
    return resistance_ohm * capacitance_f * math.log((1 - begun) / (1 - share))


def shadow_m(lamp_m: float, gap_m: float, distance_m: float) -> float:
    """Width of the half shadow that an edge `gap_m` in front of a slit throws on it from a lamp of that width: similar
    triangles."""
    return lamp_m * gap_m / (distance_m - gap_m)


def strip_lux(flux_lm: float, area_m2: float, distance_m: float) -> float:
    """Light on the axis of a diffuser that shines evenly all round (Lambert): flux/(pi d^2 + area), as for a disc."""
    return flux_lm / (math.pi * distance_m**2 + area_m2)
