"""A camera body: what its release wants, what its shutter does, what its contact and gate sensors show."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from random import Random

from coincide.box.simulated.bodies.contacts import sync_changes
from coincide.box.simulated.bodies.release import ReleaseLag
from coincide.box.simulated.bodies.shutters import CENTRE, Exposure, expose, gate_crossings
from coincide.box.simulated.clock import Clock, s_from_ticks, ticks_from_s
from coincide.box.simulated.sampler import Sampler
from coincide.box.simulated.spec import BodySpec
from coincide.box.simulated.truth import FIRED, BodyRecord

WINDING_FLICK_S = 0.0003


@dataclass(frozen=True, slots=True)
class Wiring:
    """Which lines of the box a body's plugs reach, and how late those inputs are."""

    sync: int
    gates: tuple[int, int]
    input_on_s: float
    input_off_s: float


class Body:
    """One body. `lamp` gives the brightness over the gates at an absolute time in seconds, or is None."""

    def __init__(
        self,
        spec: BodySpec,
        wiring: Wiring,
        clock: Clock,
        sampler: Sampler,
        random: Random,
        lamp: Callable[[float], float] | None,
    ) -> None:
        self.spec = spec
        self.full_since: int | None = None
        self.last_press: int | None = None
        self.wound = True
        self.presses = 0
        self.slowed_s: Callable[[], float] = lambda: 0.0
        self._wiring = wiring
        self._clock = clock
        self._sampler = sampler
        self._random = random
        self._lamp = lamp
        self._lag = ReleaseLag(spec.release, random)
        self._half_since: int | None = None
        self._ready_at = 0
        self._press = 0

    def half(self, closed: bool) -> None:
        """The half-press contact changes, seen at the body."""
        self._half_since = self._clock.now if closed else None

    def full(self, closed: bool, record: BodyRecord | None) -> None:
        """The full-press contact changes, seen at the body. `record` is to be filled in with what follows."""
        self._press += 1
        now = self._clock.now
        if not closed:
            if self.full_since is not None and self.spec.release.kind == "solenoid":
                self._lag.warm(now, s_from_ticks(now - self.full_since))
            self.full_since = None
            return
        self.full_since = self.last_press = now
        self.presses += 1
        record = record if record is not None else BodyRecord()
        record.press_tick = now
        record.why = "closed too short"
        wait_s = self._lag_wait_s()
        number, press = self.presses, self._press
        self._clock.after_s(
            max(wait_s, self.spec.release.least_closure_s),
            lambda: self._act(now + ticks_from_s(wait_s), number, press, record),
        )
        self._flick(now, number)

    def rewind(self) -> None:
        """Wound by hand."""
        self.wound = True

    def _lag_wait_s(self) -> float:
        return self._lag.polling_wait_s()

    def _flick(self, press_tick: int, number: int) -> None:
        contact = self.spec.contact
        alive = self.spec.faults.stops_after is None or number <= self.spec.faults.stops_after
        if contact.flick_s and alive and self.wound:
            start = press_tick + ticks_from_s(contact.flick_at_s)
            self._close_line(self._wiring.sync, start, start + ticks_from_s(contact.flick_s))

    def _act(self, seen_tick: int, number: int, press: int, record: BodyRecord) -> None:
        """The release has been closed long enough to be seen, if it still is."""
        if press != self._press:
            return
        record.why = self._refusal(number)
        half_s = None if self._half_since is None else s_from_ticks(seen_tick - self._half_since)
        # The lag is drawn whether or not the body fires, so that one fault does not change the other dice.
        lag_s = self._lag.draw_s(seen_tick, half_s) + self.slowed_s()
        exposure_s = self._exposure_s()
        if record.why != FIRED:
            return
        start = max(seen_tick + ticks_from_s(lag_s), self._clock.now)
        self._expose(start, exposure_s, record)
        if number in self.spec.faults.extra_at:
            again = start + ticks_from_s(self.spec.faults.extra_after_s)
            self._clock.at(again, lambda: self._expose(again, exposure_s, BodyRecord()))

    def _refusal(self, number: int) -> str:
        faults = self.spec.faults
        if faults.stops_after is not None and number > faults.stops_after:
            return "stopped answering"
        if not self.wound:
            return "not wound"
        if self._clock.now < self._ready_at:
            return "still winding"
        missed = number in faults.misses
        if faults.miss_probability:
            missed |= self._random.random() < faults.miss_probability
        return "missed" if missed else FIRED

    def _exposure_s(self) -> float:
        shutter = self.spec.shutter
        return shutter.exposure_s * (1 + self._random.gauss(0.0, shutter.exposure_sigma))

    def _expose(self, start: int, exposure_s: float, record: BodyRecord) -> None:
        exposure = expose(self.spec.shutter, exposure_s)
        hz = ticks_from_s(1.0)
        opened, closed = exposure.lit_s(CENTRE)
        record.open_tick = start + opened * hz
        record.close_tick = start + closed * hz
        record.centroid_tick = start + exposure.centroid_s(CENTRE) * hz
        record.near_tick = start + sum(exposure.lit_s(0.0)) / 2 * hz
        record.far_tick = start + sum(exposure.lit_s(1.0)) / 2 * hz
        self._show(start, exposure, exposure_s)
        end = start + ticks_from_s(exposure.end_s)
        self.wound = self.spec.wind != "manual"
        self._ready_at = end + ticks_from_s(self.spec.wind_s if self.spec.wind == "motor" else 0.0)
        if self.spec.contact.winding_flick_at_s:
            flick = end + ticks_from_s(self.spec.contact.winding_flick_at_s)
            self._close_line(self._wiring.sync, flick, flick + ticks_from_s(WINDING_FLICK_S))

    def _show(self, start: int, exposure: Exposure, exposure_s: float) -> None:
        """Let the contact and the gate sensors tell the box."""
        for at_s, level in sync_changes(self.spec.contact, exposure, exposure_s, self._random):
            self._drive(self._wiring.sync, start, at_s, level)
        lamp = self._lamp
        start_s = s_from_ticks(start)
        for gate, channel in zip(self.spec.gates, self._wiring.gates, strict=True):
            if gate is None:
                continue
            shone = None if lamp is None else lambda t_s: lamp(start_s + t_s)
            for at_s, level in gate_crossings(exposure, gate, self.spec.shutter, shone):
                self._drive(channel, start, at_s, level)

    def _close_line(self, channel: int, closes: int, opens: int) -> None:
        self._sampler.drive(channel, closes, True)
        self._sampler.drive(channel, opens, False)

    def _drive(self, channel: int, start: int, at_s: float, level: int) -> None:
        late_s = self._wiring.input_on_s if level else self._wiring.input_off_s
        self._sampler.drive(channel, start + ticks_from_s(at_s + late_s), bool(level))
