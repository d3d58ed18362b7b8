"""The zero check: outputs looped back into both sync inputs, the isolators timed."""

from __future__ import annotations

import numpy as np

from coincide.bench.check.outputs import wrong_pulse
from coincide.bench.check.record import Item, Loop, ZeroResult
from coincide.bench.check.talk import OUTPUTS, BenchTalk, Edge
from coincide_firmware.app.pins import CHANNELS, SYNC_A, SYNC_B

PULSE_NS = 20_000_000
PULSES = 5
# A loop slower than this is no isolator: the slowest promises 3 ms, and the coupler far less than 0.1 ms.
SLOWEST_LOOP_S = 5e-3
# An isolator promises 0.1 to 3 ms; the slowest sync input adds 0.2 ms. Two plain inputs differ by 30 us at most; one
# with the high-voltage coupler may be 0.17 ms later than the other.
LOOP_S = (50e-6, 3.2e-3)
PLAIN_APART_S, HIGH_APART_S = 30e-6, 200e-6


# A wetted circuit's capacitor is charged again after five times 220 kOhm x 1 uF, both at their tolerance.
RECHARGE_S = 1.3


def rest_s(sync: tuple[str, str]) -> float:
    """How long to wait before each pulse, by the sync circuits of (A, B)."""
    return RECHARGE_S if "wetted" in sync else 0.0


def measure_loops(talk: BenchTalk, pulses: int, wait_s: float = 0.0) -> tuple[Item, ZeroResult | None]:
    """Pulse each output into both sync inputs, `wait_s` apart; the isolators' delays, and how they differ.

    Needs the loopback plug in and all bodies off. The result is None when a loop does not answer.
    """
    tick_hz = talk.client.identity.tick_hz
    delays = np.full((len(OUTPUTS), pulses, 2), np.nan)
    with talk.armed():
        for number, name in enumerate(OUTPUTS):
            for count in range(pulses):
                if wait_s:
                    talk.pass_time(wait_s)
                edges = talk.pulse(number, PULSE_NS)
                wrong = wrong_pulse(number, edges, PULSE_NS, tick_hz)
                if wrong:
                    return Item("loopback", "zero", False, wrong), None
                late = _loop_delays(number, edges, tick_hz)
                missing = [CHANNELS[c] for c, s in zip((SYNC_A, SYNC_B), late, strict=True) if s is None]
                if missing:
                    say = (
                        f"{name} did not reach {' and '.join(missing)} within {SLOWEST_LOOP_S * 1e3:.0f} ms: is the "
                        "loopback plug in all four sockets, and are the sync cells fresh?"
                    )
                    return Item("loopback", "zero", False, say), None
                delays[number, count] = late
    zero = zero_result(delays, tick_hz)
    say = (
        f"Loops answer: B's input is {zero.skew_s * 1e6:+.2f} ± {2 * zero.u_skew_s * 1e6:.2f} µs later than A's; "
        f"isolators take {zero.loop_s[0] * 1e6:.0f} µs (A) and {zero.loop_s[1] * 1e6:.0f} µs (B)."
    )
    return Item("loopback", "zero", True, say), zero


def implausible(zero: ZeroResult, sync: tuple[str, str]) -> str:
    """What no sound box with these sync circuits shows; '' where all is plausible. Such a zero check is not kept."""
    low_s, high_s = LOOP_S
    for body, loop_s in zip("AB", zero.loop_s, strict=True):
        if not low_s <= loop_s <= high_s:
            return (
                f"The loop of body {body} takes {loop_s * 1e6:.0f} µs; an isolator takes {low_s * 1e6:.0f} to "
                f"{high_s * 1e6:.0f} µs. Is its LED's resistor right, and is the part one that operates at 2 mA?"
            )
    apart_s = HIGH_APART_S if "high-voltage" in sync else PLAIN_APART_S
    if abs(zero.skew_s) > apart_s:
        return (
            f"The two sync inputs answer {abs(zero.skew_s) * 1e6:.0f} µs apart; these circuits differ by "
            f"{apart_s * 1e6:.0f} µs at the most. See the slower one's cell and collector resistor."
        )
    return ""


def _loop_delays(number: int, edges: tuple[Edge, ...], tick_hz: int) -> tuple[float | None, float | None]:
    """Seconds from the output's closing to the first closing of sync_a and sync_b; None if not in time."""
    start = next(tick for channel, level, tick in edges if channel == number and level == 1)

    def late_s(wanted: int) -> float | None:
        ticks = [t for c, level, t in edges if c == wanted and level == 1 and t >= start]
        return (
            (ticks[0] - start) / tick_hz if ticks and (ticks[0] - start) / tick_hz <= SLOWEST_LOOP_S else None
        )

    return late_s(SYNC_A), late_s(SYNC_B)


def zero_result(delay_s: np.ndarray, tick_hz: int) -> ZeroResult:
    """Means and standard uncertainties of looped-back pulses.

    delay_s: (4 outputs, n pulses, 2 inputs), seconds. Type A from the scatter, type B from one tick of
    resolution at either edge, taken as rectangular (GUM 4.3.7); added in quadrature.
    """
    outputs, pulses, _ = delay_s.shape
    tick_u_s = 1 / tick_hz / np.sqrt(6)  # two edges, each rectangular with half-width half a tick

    def spread(values: np.ndarray) -> float:
        scatter = float(np.std(values, ddof=1)) / np.sqrt(values.size) if values.size > 1 else 0.0
        return float(np.hypot(scatter, tick_u_s))

    loops = tuple(
        Loop(
            OUTPUTS[o],
            CHANNELS[(SYNC_A, SYNC_B)[i]],
            float(delay_s[o, :, i].mean()),
            spread(delay_s[o, :, i]),
            pulses,
        )
        for o in range(outputs)
        for i in range(2)
    )
    apart = (delay_s[:, :, 1] - delay_s[:, :, 0]).ravel()
    full_a, full_b = delay_s[1, :, 0], delay_s[3, :, 1]
    return ZeroResult(
        loops=loops,
        skew_s=float(apart.mean()),
        u_skew_s=spread(apart),
        loop_s=(float(full_a.mean()), float(full_b.mean())),
        u_loop_s=(spread(full_a), spread(full_b)),
    )
