"""Electronics against sources outside the project. Each test names its source."""

from __future__ import annotations

import cmath
import math
import zlib
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, optimize, signal

from coincide.session.file import read_session
from coincide.session.rules import EdgeRules
from coincide.session.shots import shots_from_session
from coincide_firmware.app.buttons import Button
from coincide_firmware.app.wire import crc32_hex
from coincide_wiring.check.terminal import DIRECT_LIMIT_V, FLASH_CIRCUIT_LIMIT_V, judge_terminal
from coincide_wiring.figures import formulas
from coincide_wiring.figures.build import figures
from coincide_wiring.netlist import Build
from tests.session.sessions import TICK_HZ, pulse, record, write


def test_led_through_330_ohm() -> None:
    """Ohm's law: 3.3 V, 330 ohm, Vf 1.2 V -> 6.4 mA."""
    assert formulas.led_current_a(3.3, 1.2, 330.0) == pytest.approx(6.4e-3, abs=0.05e-3)


def test_flash_circuits_are_built_to_24_volts_and_older_ones_exceed_it() -> None:
    """ISO 10330 (memory): 24 V; trade fact, no source: older units put 200 V and more on the contact."""
    assert FLASH_CIRCUIT_LIMIT_V == 24.0
    assert DIRECT_LIMIT_V["sync"] <= FLASH_CIRCUIT_LIMIT_V
    for reading_v in (24.1, 200.0, -200.0, 330.0):
        assert not judge_terminal(reading_v, "sync").direct


def test_rise_time_of_a_first_order_sensor() -> None:
    """Electronics text: t_r(10-90) = 0.35/f_3dB = 2.2 RC. Reference: scipy's step response."""
    resistance_ohm, capacitance_f = 4700.0, 88e-12
    tau_s = resistance_ohm * capacitance_f
    rise_s = formulas.rise_time_s(formulas.first_order_bandwidth_hz(resistance_ohm, capacitance_f))
    assert rise_s == pytest.approx(2.2 * tau_s, rel=0.002)
    assert rise_s == pytest.approx(
        0.35 / formulas.first_order_bandwidth_hz(resistance_ohm, capacitance_f), rel=0.002
    )
    time_s, level = signal.step(([1.0], [tau_s, 1.0]), T=np.linspace(0, 10 * tau_s, 20001))
    measured_s = np.interp(0.9, level, time_s) - np.interp(0.1, level, time_s)
    assert rise_s == pytest.approx(measured_s, rel=1e-3)


def test_detector_bandwidth_for_an_open_time() -> None:
    """ISO 516:2019, test method: 100/t0 or above; 1 ms needs 100 kHz."""
    assert formulas.bandwidth_needed_hz(1e-3) == pytest.approx(100e3)
    for build in (Build(), Build(gate=("transimpedance", "transimpedance"))):
        (found,) = [one for one in figures(build) if one.key == "gate_bandwidth_a1"]
        assert found.least >= formulas.bandwidth_needed_hz(2.0**-11)


def test_phototransistor_coupler_is_timed_on_its_quick_edge() -> None:
    """Datasheets (memory): a saturated phototransistor's turn-off takes tens of microseconds, tens of times
    its turn-on. Common example (memory): 10 mA into the LED, 100 % transfer ratio, 10 kOhm to 5 V; turn-on
    of a few microseconds. The closing edge must stay below the turn-off's scale."""
    (delay,) = [one for one in figures(Build()) if one.key == "sync_delay_a"]
    assert delay.most < 50e-6
    fall_s = formulas.node_fall_s(70e-12, 4.2, 10e-3, 0.5e-3)
    assert fall_s < 1e-6


def test_coupler_saturation_as_datasheets_work_it() -> None:
    """Worked example common to coupler application notes (memory): transfer ratio 50 % at worst, 10 mA into
    the LED, 5 V supply, saturation voltage 0.4 V: the collector sinks 5 mA, so the smallest collector
    resistor that still saturates is (5 - 0.4)/5 mA = 920 ohm."""
    collector_a = 10e-3 * formulas.transfer_ratio(0.5, 10e-3, 10e-3, 0.3)
    assert (5.0 - 0.4) / collector_a == pytest.approx(920.0)


def test_transimpedance_amplifier_as_application_notes_work_it() -> None:
    """Worked example common to photodiode amplifier notes (memory): GBW 10 MHz, R 100 kOhm, 50 pF at the
    input -> feedback and amplifier meet at 564 kHz; a feedback capacitor of 1/(2 pi R f) = 2.8 pF there is said to
    leave 45 degrees of phase margin or more."""
    meet_hz = formulas.transimpedance_limit_hz(10e6, 100e3, 50e-12)
    assert meet_hz == pytest.approx(564e3, rel=0.002)
    least_f = 1 / (2 * math.pi * 100e3 * meet_hz)
    assert least_f == pytest.approx(2.82e-12, rel=0.002)
    assert 45.0 < formulas.transimpedance_margin_deg(10e6, 100e3, 50e-12, least_f) < 60.0


@pytest.mark.parametrize("back_f", [0.5e-12, 2.8e-12, 6.8e-12, 15e-12])
def test_phase_margin_against_the_loop_itself(back_f: float) -> None:
    """Control textbook: 180 degrees and the loop gain's phase where its size is one. Reference: the loop gain as a
    complex number, its crossing found by scipy's root finder."""

    def loop(log_hz: float) -> complex:
        s = 2j * math.pi * 10**log_hz
        return 2 * math.pi * 10e6 / s * (1 + s * 100e3 * back_f) / (1 + s * 100e3 * (50e-12 + back_f))

    cross = optimize.brentq(lambda log_hz: abs(loop(log_hz)) - 1, 3.0, 8.0)
    expected = 180 + math.degrees(cmath.phase(loop(cross)))
    assert formulas.transimpedance_margin_deg(10e6, 100e3, 50e-12, back_f) == pytest.approx(
        expected, rel=1e-6
    )


def test_a_capacitors_pulse_through_two_junctions_against_the_differential_equation() -> None:
    """Circuit theory: C dv/dt = -i, v = i R + V ln i + constant. Reference: scipy's integrator, stopped at 0.5 mA."""

    def slope(_: float, i: np.ndarray) -> np.ndarray:
        return -i / (1e-6 * (680.0 + 0.09 / i))

    def ended(_: float, i: np.ndarray) -> float:
        return float(i[0]) - 0.5e-3

    ended.terminal = True  # type: ignore[attr-defined]
    solved = integrate.solve_ivp(slope, (0.0, 0.1), [10e-3], events=ended, rtol=1e-9, atol=1e-12)
    assert solved.t_events is not None
    width_s = formulas.pulse_width_s(680.0, 1e-6, 10e-3, 0.5e-3, 0.09)
    assert width_s == pytest.approx(solved.t_events[0][0], rel=1e-6)


def test_flyback_decay_against_the_differential_equation() -> None:
    """Circuit theory: L di/dt + R i + V = 0. Reference: scipy's integrator, stopped at zero current."""

    def slope(_: float, i: np.ndarray) -> np.ndarray:
        return -(24.0 * i + 24.9) / 0.04

    def empty(_: float, i: np.ndarray) -> float:
        return float(i[0])

    empty.terminal = True  # type: ignore[attr-defined]
    solved = integrate.solve_ivp(slope, (0.0, 0.1), [0.5], events=empty, rtol=1e-9, atol=1e-12)
    assert solved.t_events is not None
    assert formulas.flyback_decay_s(0.04, 24.0, 0.5, 24.9) == pytest.approx(solved.t_events[0][0], rel=1e-6)


def test_depletion_limiter_solves_its_square_law() -> None:
    """Square law of the depletion MOSFET, any semiconductor textbook: the answer must satisfy it."""
    for drain_a, threshold_v, resistance_ohm in ((1e-3, 1.0, 470.0), (3e-3, 3.0, 470.0), (3e-3, 3.0, 1000.0)):
        found_a = formulas.limiter_current_a(drain_a, threshold_v, resistance_ohm)
        assert found_a == pytest.approx(drain_a * (1 - found_a * resistance_ohm / threshold_v) ** 2)
        assert found_a * resistance_ohm < threshold_v


def test_copper_winding_warms() -> None:
    """Handbook (memory): copper gains 0.393 % a kelvin, so 25 K make a coil about a tenth more resistive."""
    assert formulas.warm_resistance_ohm(24.0, 45.0) / 24.0 == pytest.approx(1.098, abs=0.001)


SURVEYED_MEAN_S, MOST_S = 1.6e-3, 10e-3


def bouncing(
    rng: np.random.Generator, begins_s: float, lasts_s: float, ends_s: float
) -> list[tuple[float, bool]]:
    """A contact that touches at `begins_s`, chatters for `lasts_s` and then holds: (time, closed)."""
    flips = 2 * int(rng.integers(1, 6))
    inside = np.sort(rng.uniform(0.0, lasts_s, flips - 1)) + begins_s
    times = [begins_s, *inside, begins_s + lasts_s, ends_s]
    return [(float(at), number % 2 == 0) for number, at in enumerate(times)]


def test_contacts_that_bounce_as_surveyed_are_timed_at_their_first_touch(tmp_path: Path) -> None:
    """Published survey of 18 switches (memory): mean bounce about 1.6 ms, most below 10 ms, rare ones of tens of
    milliseconds. Four hundred closings drawn so (exponential, whose mean says the rest): each is one exposure,
    at its first touch, and no bounce is a second firing."""
    assert EdgeRules().bounce_s > MOST_S
    rng = np.random.default_rng(18)
    lasts_s = rng.exponential(SURVEYED_MEAN_S, 400)
    assert (lasts_s < MOST_S).mean() > 0.99
    records = []
    for number, lasts in enumerate(lasts_s, start=1):
        edges = pulse("full_a", 0.3, 0.45)
        chatter = bouncing(rng, 0.36, lasts, 0.36 + lasts + 0.008)
        for (on, _), (off, _) in zip(chatter[::2], chatter[1::2], strict=True):
            edges += pulse("sync_a", on, off)
        records.append(record(number, edges, at_s=3.0 * number))
    shots = shots_from_session(read_session(write(tmp_path / "s.jsonl", records)))
    first_touch = np.abs(shots.sync_s[:, 0] - 0.06) <= 2 / TICK_HZ
    assert first_touch.mean() > 0.99
    # A brush of the contact with a long gap behind it could be either; it is told as a flick, never dropped.
    assert (shots.flicks[~first_touch, 0] > 0).all()
    assert not shots.extras.any()
    assert shots.bounces[:, 0].min() >= 1


@pytest.mark.parametrize("lasts_s", [0.0016, 0.005, 0.01, 0.025])
def test_buttons_that_bounce_as_surveyed_give_one_press_and_one_letting_go(lasts_s: float) -> None:
    """The same survey (memory), at the box's own buttons, also at the rare 25 ms: never two presses for one."""
    rng = np.random.default_rng(19)
    for _ in range(50):
        pressed = bouncing(rng, 0.1, lasts_s, 0.4)
        let_go = [(at, not state) for at, state in bouncing(rng, 0.4, lasts_s, 0.8)[:-1]]
        contact = Contact([*pressed[:-1], *let_go])
        button = Button(contact.pressed)
        changes = []
        for contact.now_ms in range(800):
            changes.append(button.changed(contact.pressed, contact.now_ms))
        assert [one for one in changes if one] == [1, -1]


class Contact:
    """What a button is told at `now_ms`."""

    def __init__(self, flips: list[tuple[float, bool]]) -> None:
        self._flips = flips
        self.now_ms = 0

    @property
    def pressed(self) -> bool:
        return [False, *(state for at, state in self._flips if at * 1000 <= self.now_ms)][-1]


def test_one_pio_instruction_at_125_mhz() -> None:
    """RP2040 datasheet: 8 ns. The wiring's own errors are far above the sampler's tick."""
    assert pytest.approx(8e-9) == 1 / 125e6
    (delay,) = [one for one in figures(Build()) if one.key == "sync_delay_a"]
    assert delay.timing is not None
    assert delay.timing.u_left_s > 3 * 8e-9 / math.sqrt(12)


def test_crc_check_value() -> None:
    """The standard check value of CRC-32; zlib as a second reference."""
    assert int(crc32_hex(b"123456789"), 16) == 0xCBF43926 == zlib.crc32(b"123456789")
