"""A simulated world: two bodies, a box between them, a photographer, one clock, one seed."""

from __future__ import annotations

import math
from collections.abc import Callable
from random import Random

from coincide.box.simulated.bodies.body import Body, Wiring
from coincide.box.simulated.bodies.hands import CABLE_HELD_S, CablePresser, Winder
from coincide.box.simulated.clock import Clock, s_from_ticks, ticks_from_s
from coincide.box.simulated.lamps import LampRun
from coincide.box.simulated.releases import Releases
from coincide.box.simulated.sampler import QUANTUM_TICKS, Sampler
from coincide.box.simulated.spec import WorldSpec
from coincide.box.simulated.truth import PairRecord, ShotTruth
from coincide_firmware.app import pins

SIDES = (0, 1)
SYNC = (pins.SYNC_A, pins.SYNC_B)
GATES = ((pins.GATE_A1, pins.GATE_A2), (pins.GATE_B1, pins.GATE_B2))
REFERENCE_C = 20.0
CABLE_HALF_S = 0.4  # a cable takes up the half-press on its way down
SHOWS_S = 0.001  # how long the hand leaves the interlock open when the box starts


class World:
    """Everything outside the box's processor. Deterministic: the same spec and seed give the same edges."""

    def __init__(self, spec: WorldSpec, seed: int) -> None:
        self.spec = spec
        self.seed = seed
        self.clock = Clock()
        self.sampler = Sampler(spec.box.ring_edges)
        self.interlock_closed = True
        self.pressed: dict[str, bool] = dict.fromkeys(
            ("button_half", "button_full", "wound", "preset"), False
        )
        self.lights = (0, 0)
        self.lamp_runs: list[LampRun] = []
        self.releases = Releases(self.clock, lambda: self.interlock_closed, self._output_changed)
        self._pairs: list[PairRecord] = []
        self._origin = 0
        lamp = self._lamp() if spec.flicker_depth else None
        self.bodies = (self._body(0, lamp), self._body(1, lamp))
        self._winder = Winder(spec.hand, self.bodies, self.clock, self.random("hand"), self._foot)
        if spec.hand.winds:
            self._winder.start()
        if spec.hand.cable_presses:
            CablePresser(spec.hand, self.clock, self.random("cable"), self._cable).start()
        for pair, seconds in spec.interlock_opens:
            if pair <= 1:
                self.open_interlock(seconds)

    @property
    def truth(self) -> tuple[ShotTruth, ...]:
        """What really happened so far, pair by pair in the order they were fired."""
        return tuple(truth for record in self._pairs if (truth := record.truth()) is not None)

    def random(self, purpose: str) -> Random:
        """The dice for one purpose; a fault on one body leaves the other's dice alone."""
        return Random(f"{self.seed}:{purpose}")

    def set_input(self, name: str, closed: bool) -> None:
        """Press or let go of 'button_half', 'button_full', 'wound' or 'preset'."""
        self.pressed[name] = closed

    def open_interlock(self, for_s: float) -> None:
        """Open the interlock now; it closes again after `for_s` (never, when that is infinite)."""
        self.interlock_closed = False
        self.releases.ensure_open()
        if math.isfinite(for_s):
            self.clock.after_s(for_s, self.close_interlock)

    def close_interlock(self) -> None:
        """Close the interlock now."""
        self.interlock_closed = True

    def show_interlock(self) -> None:
        """The hand that has the box started opens the interlock and closes it again, as the box wants to see it."""
        if self.interlock_closed:
            self.open_interlock(SHOWS_S)

    def start_pair(self, delay_a: int, delay_b: int, lead: int, closure: int) -> None:
        """The box closes both releases; all in ticks."""
        if self.releases.busy or not self.interlock_closed:
            return
        self._begin_pair()
        self.releases.start_pair(delay_a, delay_b, lead, closure)
        done_s = s_from_ticks(lead + max(delay_a, delay_b) + closure)
        if self.spec.hand.winds:
            self.clock.after_s(done_s, self._winder.fired)
        for pair, seconds in self.spec.interlock_opens:
            if pair == len(self._pairs) + 1:
                self.clock.after_s(done_s + 0.2, lambda seconds=seconds: self.open_interlock(seconds))  # type: ignore[misc]

    def start_pulse(self, output: int, closure: int) -> None:
        """The box closes one output once; what it fires is wound again."""
        self.releases.start_pulse(output, closure)
        if self.spec.hand.winds:
            self.clock.after_s(s_from_ticks(closure), self._winder.fired)

    def power_cut(self) -> None:
        """The processor loses its state: outputs float to open, the sampler's ticks begin again."""
        self.releases.ensure_open()
        self._origin = self.clock.now - self.clock.now % QUANTUM_TICKS
        self.sampler.restart(self._origin)

    @property
    def box_tick(self) -> int:
        """Ticks since the box started."""
        return self.clock.now - self._origin

    def _begin_pair(self) -> PairRecord:
        record = PairRecord(len(self._pairs) + 1, self._origin, QUANTUM_TICKS)
        self._pairs.append(record)
        return record

    def _body(self, side: int, lamp: Callable[[float], float] | None) -> Body:
        box = self.spec.box
        plugs = 1 - side if self.spec.swapped == "sync" else side
        wiring = Wiring(SYNC[plugs], GATES[side], box.input_on_s[side], box.input_off_s[side])
        body = Body(
            self.spec.bodies[side], wiring, self.clock, self.sampler, self.random(f"body {side}"), lamp
        )
        body.slowed_s = lambda: self._slowed_s(side)
        return body

    def _slowed_s(self, side: int) -> float:
        """What a pulling solenoid loses because the other is pulling too."""
        other, own = self.bodies[1 - side].last_press, self.bodies[side].last_press
        if not self.spec.crosstalk_lag_s or other is None or own is None:
            return 0.0
        since = own - other
        return self.spec.crosstalk_lag_s if 0 <= since < ticks_from_s(self.spec.crosstalk_reach_s) else 0.0

    def _lamp(self) -> Callable[[float], float]:
        """Brightness of a lamp on the mains, at twice the mains frequency, phase drawn once."""
        spec = self.spec
        phase = self.random("lamp").uniform(0.0, 2 * math.pi)

        def shine(t_s: float) -> float:
            return 1 - spec.flicker_depth * (1 + math.cos(2 * math.pi * spec.flicker_hz * t_s + phase)) / 2

        return shine

    def _isolator_ticks(self, side: int, closed: bool) -> int:
        box = self.spec.box
        if not closed:
            return ticks_from_s(box.isolator_off_s[side])
        warm_c = self.spec.temperature_c - REFERENCE_C
        warm_c += self.spec.warming_c_per_h * s_from_ticks(self.clock.now) / 3600
        return ticks_from_s(box.isolator_s[side] + box.isolator_s_per_k * warm_c)

    def _output_changed(self, output: int, closed: bool) -> None:
        """An output of the box changes now: the sampler sees the pin, the body sees the isolator."""
        side, full = output // 2, output % 2 == 1
        self.sampler.drive(output, self.clock.now, closed)
        arrives = self.clock.now + self._isolator_ticks(side, closed)
        if self.spec.loopback:
            self._loop_back(side, arrives, closed)
            return
        reached = 1 - side if self.spec.swapped == "release" else side
        body = self.bodies[reached]
        if not full:
            self.clock.at(arrives, lambda: body.half(closed))
            return
        record = self._pairs[-1].bodies[reached] if self._pairs else None
        if record is not None and closed and record.pin_tick is None:
            record.pin_tick = self.clock.now
        self.clock.at(arrives, lambda: body.full(closed, record))
        if self.spec.crosstalk_pulse_s:
            line = SYNC[1 - reached]
            self.sampler.drive(line, arrives, True)
            self.sampler.drive(line, arrives + ticks_from_s(self.spec.crosstalk_pulse_s), False)

    def _loop_back(self, side: int, arrives: int, closed: bool) -> None:
        box = self.spec.box
        for reached in SIDES if self.spec.loopback_both else (side,):
            late_s = box.input_on_s[reached] if closed else box.input_off_s[reached]
            for channel in (SYNC[reached], *GATES[reached]):
                self.sampler.drive(channel, arrives + ticks_from_s(late_s), closed)

    def _foot(self, pressed: bool) -> None:
        self.set_input("wound", pressed)

    def _cable(self, tick_a: int, tick_b: int) -> None:
        record = self._begin_pair()
        held = ticks_from_s(CABLE_HELD_S)
        lead = ticks_from_s(CABLE_HALF_S)
        for side, tick in ((0, tick_a), (1, tick_b)):
            body, part = self.bodies[side], record.bodies[side]
            part.pin_tick = tick + lead
            self.clock.at(tick, lambda body=body: body.half(True))  # type: ignore[misc]
            self.clock.at(tick + lead, lambda body=body, part=part: body.full(True, part))  # type: ignore[misc]
            self.clock.at(tick + lead + held, lambda body=body: body.full(False, None))  # type: ignore[misc]
            self.clock.at(tick + lead + held, lambda body=body: body.half(False))  # type: ignore[misc]
