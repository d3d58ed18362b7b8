"""Generic ratings of the parts. No brand: any part that meets the numbers will do.

Figures of the chip are from its datasheet, the others are what common datasheets of the kind promise at
25 deg C; all are quoted from memory. `*_min`, `*_max` are the limits the corner sweeps use.
"""

from __future__ import annotations

from coincide_wiring.circuits.light import ampere_per_lux, cool_white, warm_white

# The microcontroller board. `input_max_v` is the absolute limit of an input; `output_ohm_max` follows from
# the promised output-high voltage, 2.62 V at 4 mA with the supply at its lowest; `leak_a` is what a latched
# input of the newer chip can push out of a pin that nobody drives.
BOARD = {
    "rail_v": 3.3,
    "rail_tolerance": 0.03,
    "rail_max_a": 0.3,
    "output_ohm": 40.0,
    "output_ohm_max": 145.0,
    "pin_max_a": 0.012,
    "pins_total_max_a": 0.05,
    "input_low_v": 0.8,
    "input_high_v": 2.0,
    "input_max_v": 3.6,
    "input_min_v": -0.3,
    "pulldown_ohm_max": 8200.0,
    "leak_a": 120e-6,
    # Idle at the least, with the interpreter running; busy at the most.
    "supply_a": 0.03,
    "supply_a_min": 0.02,
    "supply_a_max": 0.095,
    # What of the 3.3 V rail's current the 5 V give: a switching regulator at the best, a linear one at the worst.
    "rail_share_min": 0.7,
    "rail_share_max": 1.0,
}
USB = {"supply_v": 5.0, "supply_v_min": 4.4, "supply_v_max": 5.25, "current_max_a": 0.5}

# A power bank: what it stores and loses, and the load under which it may take itself for forgotten. The plug is a
# resistor across a USB plug that keeps it awake.
POWER_BANK = {
    "charge_c": 10.0 * 3600,
    "cell_v": 3.7,
    "efficiency": 0.85,
    "sleeps_a_min": 0.05,
    "sleeps_a_max": 0.1,
    "plug_ohm": 43.0,
    "plug_power_w": 2.0,
}

# MOSFET-output relay driven by an LED: two transistors back to back, so it carries either polarity.
PHOTORELAY = {
    "forward_v": 1.2,
    "forward_v_min": 1.0,
    "forward_v_max": 1.4,
    "current_max_a": 0.03,
    "trigger_a": 0.002,
    "trigger_per_k": 0.005,
    "holdoff_a": 0.0001,
    "on_ohm": 2.0,
    "contact_max_v": 60.0,
    "contact_max_a": 0.3,
    "isolation_v": 1500.0,
    "on_s_min": 0.0001,
    "on_s": 0.0005,
    "on_s_max": 0.003,
}
# Bidirectional suppressor across a release contact: blocks what a terminal may carry, conducts before the relay breaks.
SUPPRESSOR = {
    "standoff_v": 33.0,
    "zener_v": 38.6,
    "zener_tolerance": 0.05,
    "clamp_v": 53.3,
    "pulse_max_a": 11.0,
}

# Phototransistor optocoupler. Transfer ratio promised at `ratio_at_a`; below that it falls about as the
# 0.3 power of the LED current. The turn-on time is promised for a collector current of `on_at_a`: the light has to
# carry a charge to the base, so less light takes longer in inverse proportion.
OPTOCOUPLER = {
    "forward_v": 1.2,
    "forward_v_min": 1.0,
    "forward_v_max": 1.4,
    "current_max_a": 0.05,
    "reverse_max_v": 5.0,
    "ratio_min": 1.0,
    "ratio_at_a": 0.005,
    "ratio_exponent": 0.3,
    "ratio_cold_or_hot": 0.85,
    "ratio_aged": 0.8,
    "ratio_saturated": 0.7,
    "saturation_v": 0.4,
    "collector_max_v": 30.0,
    "collector_max_a": 0.05,
    "isolation_v": 2500.0,
    "on_s_min": 2e-6,
    "on_s_max": 18e-6,
    "on_at_a": 0.002,
    "dark_a_max": 1e-6,
}
# The same kind graded for small LED currents.
OPTOCOUPLER_LOW_CURRENT = {**OPTOCOUPLER, "ratio_at_a": 0.001}

SIGNAL_DIODE = {
    "forward_v": 0.7,
    "forward_v_min": 0.6,
    "forward_v_max": 0.8,
    "current_max_a": 0.15,
    "reverse_max_v": 75.0,
}
BLOCKING_DIODE = {
    "forward_v": 0.7,
    "forward_v_min": 0.6,
    "forward_v_max": 0.8,
    "current_max_a": 1.0,
    "reverse_max_v": 1000.0,
}
FLYBACK_DIODE = {"forward_v": 0.9, "current_max_a": 3.0, "reverse_max_v": 100.0}
CLAMP_ZENER = {
    "zener_v": 24.0,
    "zener_tolerance": 0.1,
    "current_max_a": 1.0,
    "pulse_max_a": 10.0,
    "forward_v": 0.9,
}
GATE_ZENER = {"zener_v": 15.0, "zener_tolerance": 0.05, "current_max_a": 0.02, "forward_v": 0.7}

# Depletion-mode MOSFET as a current limiter: conducts with no gate voltage, pinches itself off at its source
# resistor.
LIMITER = {
    "drain_a_min": 0.001,
    "drain_a_max": 0.003,
    "threshold_v_at_min": 1.0,
    "threshold_v_at_max": 3.0,
    "drain_max_v": 500.0,
    "power_max_w": 1.5,
    "limit_a": 0.001,
}
POWER_MOSFET = {
    "drain_max_v": 60.0,
    "drain_max_a": 10.0,
    "gate_on_v": 8.0,
    "gate_off_v": 1.5,
    "gate_max_v": 20.0,
    "on_ohm": 0.05,
}
NPN = {"base_v": 0.75, "gain_min": 60.0, "saturation_v": 0.2, "collector_max_v": 40.0, "collector_max_a": 0.2}

BLUE_LED = {"forward_v": 3.1, "forward_v_min": 2.8, "forward_v_max": 3.4, "current_max_a": 0.02}
ORANGE_LED = {"forward_v": 2.1, "forward_v_min": 1.8, "forward_v_max": 2.4, "current_max_a": 0.02}
LAMP_LED = {"forward_v": 2.0, "forward_v_min": 1.8, "forward_v_max": 2.2, "current_max_a": 0.02}
SHIFT_REGISTER = {"outputs": 8.0, "output_max_a": 0.02, "supply_max_a": 0.07, "output_ohm": 60.0}

CELL_4V5 = {"voltage_v": 4.5, "voltage_v_min": 3.6, "voltage_v_max": 4.9, "current_max_a": 0.05}
CELL_9V = {"voltage_v": 9.0, "voltage_v_min": 7.0, "voltage_v_max": 9.6, "current_max_a": 0.05}

DIODE_AREA_M2 = 7.0e-6
DIODE_SPREAD = 0.15  # from one photodiode to another
# What the bare diode gives for a lux of white LED, to three digits so that every machine gets the same digest.
WARM_A_PER_LX, COOL_A_PER_LX = (
    float(f"{ampere_per_lux(lamp, DIODE_AREA_M2):.3g}") for lamp in (warm_white, cool_white)
)

# Silicon photodiode of 7 mm2, its current for a lux of white LED between 3000 and 5000 K (see `light`). The amplifier
# sits within 100 mm of it, so its lead adds little.
PHOTODIODE = {
    "area_m2": DIODE_AREA_M2,
    "side_m": 2.65e-3,
    "white_a_per_lx": (WARM_A_PER_LX + COOL_A_PER_LX) / 2,
    "white_a_per_lx_min": COOL_A_PER_LX * (1 - DIODE_SPREAD),
    "white_a_per_lx_max": WARM_A_PER_LX * (1 + DIODE_SPREAD),
    "capacitance_f": 72e-12,
    "capacitance_reverse_f": 30e-12,
    "dark_a_max": 30e-9,
    "cable_f": 15e-12,
}
COMPARATOR = {
    "common_mode_v": 1.8,
    "offset_v_max": 0.007,
    "delay_s": 1.0e-6,
    "delay_s_max": 2.0e-6,
    "input_f": 8e-12,
    "sink_max_a": 0.006,
    "supply_a": 0.001,
    "low_v": 0.3,
}
OPAMP = {"gain_bandwidth_hz": 10e6, "input_f": 8e-12, "supply_a": 0.002, "swing_v": 3.1}
SLIT_MASK = {"width_m": 0.3e-3}
# Two 1 W white LEDs at 0.26 A in a white box behind a diffuser strip, 10 mm along the sweep and 30 mm across.
GATE_LAMP = {
    "flux_lm": 85.0,
    "flux_lm_min": 75.0,
    "flux_lm_max": 95.0,
    "passed": 0.6,
    "passed_min": 0.55,
    "passed_max": 0.65,
    "strip_m": 0.010,
    "strip_across_m": 0.030,
    "distance_m": 0.07,
    "distance_m_min": 0.05,
    "distance_m_max": 0.09,
}
# Light at the slit for which each gate circuit is made, lux: nominal, least, most.
GATE_LX = {
    "transimpedance": (7e3, 3e3, 15.5e3),  # the lamp bare, 50 to 90 mm from the slit
    "through-lens": (2e3, 0.9e3, 4e3),  # the lamp in front of a lens at f/8 to f/4
    "load": (36e3, 30e3, 46e3),  # the lamp bare, 30 mm from the slit
}

SOLENOID = {
    "coil_ohm": 24.0,
    "coil_tolerance": 0.1,
    "inductance_h": 0.04,
    "pull_in_a": 0.33,
    "heat_k_per_w": 12.0,
    "mass_kg": 0.06,
    "coil_max_c": 105.0,
    "operate_s": 0.020,
}
# Thermal cut-out on the coil; `lag_k` is how much hotter than its switch the winding may be when it opens.
CUT_OUT = {"opens_c": 80.0, "opens_c_min": 75.0, "opens_c_max": 85.0, "lag_k": 15.0, "resistance_ohm": 0.05}
SOLENOID_SUPPLY = {"supply_v": 12.0, "supply_v_min": 11.4, "supply_v_max": 12.6, "current_max_a": 1.0}
FUSE = {"hold_a": 0.9, "resistance_ohm": 0.3}

# Terminals of camera bodies, as a cautious person assumes them.
TERMINAL = {
    "release_pullup_v": 5.0,
    "release_pullup_ohm": 1000.0,
    "release_max_v": 24.0,
    "release_max_a": 0.15,
    "fault_v": 400.0,
}
SEMICONDUCTOR_SYNC = {"drop_v_max": 1.2, "holding_a": 0.0001}


def resistor(ohm: float, tolerance: float = 0.01, power_w: float = 0.25) -> dict[str, float]:
    """Values of a resistor."""
    return {"resistance_ohm": ohm, "tolerance": tolerance, "power_w": power_w}


def capacitor(farad: float, tolerance: float = 0.1, rating_v: float = 50.0) -> dict[str, float]:
    """Values of a capacitor."""
    return {"capacitance_f": farad, "tolerance": tolerance, "rating_v": rating_v}
