"""What the box's circuits add to the times measured through them: inputs to mid-exposures, isolators to lags.

The circuits' figures come with the session (see known.py). Of an input's delay the rig file says something too; of
the two uncertainties the larger counts, until a zero check has measured it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from coincide.rig.model import Body, Rig
from coincide.session.model import BODIES, Floats
from coincide.timing.budget.known import Known, Wiring, WiringTerm, Zero
from coincide.timing.budget.part import ROOT3, Part, rectangular
from coincide.timing.finding import Finding
from coincide.timing.shutter.mid_exposure import BodyMid, MidExposures
from coincide.timing.shutter.sync import INPUT_DELAY, ZERO

ISOLATOR_MOST_S = (
    0.003  # a solid-state relay adds 0.1 to 3 ms with type and temperature; data sheets (memory)
)
GATES = ("gate_1", "gate_2")


def as_wired(rig: Rig, wiring: Wiring | None) -> Rig:
    """The rig with no input's delay better known than its circuit lets it be."""
    if wiring is None:
        return rig
    half_width_s = {term.signal: term.u_s * ROOT3 for term in wiring.terms if term.enters == "skew"}
    a, b = (_wired(body, letter.lower(), half_width_s) for body, letter in zip(rig.both, BODIES, strict=True))
    return rig.model_copy(update={"bodies": rig.bodies.model_copy(update={"a": a, "b": b})})


def _wired(body: Body, letter: str, half_width_s: dict[str, float]) -> Body:
    sensors = body.sensors
    changed: dict[str, object] = {}
    for key, signal in (("sync", f"sync_{letter}"), *((gate, f"gate_{letter}{gate[-1]}") for gate in GATES)):
        sensor = getattr(sensors, key)
        if sensor is not None and half_width_s.get(signal, 0.0) > sensor.delay_uncertainty_s:
            changed[key] = sensor.model_copy(update={"delay_uncertainty_s": half_width_s[signal]})
    return body.model_copy(update={"sensors": sensors.model_copy(update=changed)}) if changed else body


def with_zero(mids: MidExposures, known: Known) -> MidExposures:
    """The same after a zero check of both sync inputs: in place of their delays, what the check leaves uncertain."""
    zero = known.zero
    if zero is None or any(body.how != "sync" for body in mids.bodies):
        return mids
    first, second = (
        _checked(body, letter, known.wiring) for body, letter in zip(mids.bodies, BODIES, strict=True)
    )
    check = Part("zero check", zero.u_skew_s, "normal", "more pulses in 'coincide box check --zero'")
    return MidExposures((first, replace(second, parts=(*second.parts, check))))


def _checked(body: BodyMid, letter: str, wiring: Wiring | None) -> BodyMid:
    parts = tuple(part for part in body.parts if part.name != INPUT_DELAY)
    return replace(
        body, parts=(*parts, *_terms(wiring, "skew", f"sync_{letter.lower()}", "repeat the zero check"))
    )


def isolators_s(known: Known) -> Floats:
    """What to take off the lags of A and B, (2,), where no zero check has measured it: the isolators' usual delay."""
    return np.array(
        [
            sum(term.delay_s for term in _of(known.wiring, "lag", f"full_{letter.lower()}"))
            for letter in BODIES
        ]
    )


def release_parts(known: Known, body: int) -> tuple[Part, ...]:
    """What is uncertain of the way from the box's full-press to the isolator's output, where a lag begins."""
    signal, zero = f"full_{BODIES[body].lower()}", known.zero
    if zero is not None:
        return (
            _loop(zero, body),
            *_terms(known.wiring, "lag", signal, "repeat the zero check when it is warmer"),
        )
    terms = _terms(known.wiring, "lag", signal, ZERO)
    return terms or (rectangular("release isolator, never measured", ISOLATOR_MOST_S, ZERO),)


def later_drift(known: Known, names: tuple[str, str]) -> tuple[Finding, ...]:
    """What the releases themselves will do after the measurement: a finding a body."""
    return tuple(
        Finding(
            "release will drift",
            letter,
            f"{name} ({letter}) may come up to {2e3 * term.delay_s:.1f} ms later in the course of a shoot: its "
            "solenoid slows as it warms.",
            "Measure and verify with it as warm as it will be, and look at it again with 'coincide ready'.",
            {"most_s": 2.0 * term.delay_s},
        )
        for letter, name in zip(BODIES, names, strict=True)
        for term in _of(known.wiring, "prediction", f"full_{letter.lower()}")
    )


def _loop(zero: Zero, body: int) -> Part:
    return Part(
        "zero check of the release",
        zero.u_loop_s[body],
        "normal",
        "more pulses in 'coincide box check --zero'",
    )


def _of(wiring: Wiring | None, enters: str, signal: str) -> list[WiringTerm]:
    terms = () if wiring is None else wiring.terms
    return [term for term in terms if term.enters == enters and term.signal == signal]


def _terms(wiring: Wiring | None, enters: str, signal: str, remedy: str) -> tuple[Part, ...]:
    return tuple(rectangular(term.name, term.u_s * ROOT3, remedy) for term in _of(wiring, enters, signal))
