"""The lag of one body's release, press by press: what it remembers from the last press, and the dice."""

from __future__ import annotations

import math
from random import Random

from coincide.box.simulated.clock import TICK_HZ
from coincide.box.simulated.spec import ReleaseSpec


class ReleaseLag:
    """Draws lags for one body. Times are ticks of the world's clock."""

    def __init__(self, spec: ReleaseSpec, random: Random) -> None:
        self._spec = spec
        self._random = random
        self._first: int | None = None
        self._last: int | None = None
        self._heat_s = 0.0
        self._heat_at = 0

    def polling_wait_s(self) -> float:
        """How long until a body that polls looks next: its clock runs free, so any phase is as likely."""
        return self._random.uniform(0.0, self._spec.polling_s) if self._spec.polling_s else 0.0

    def draw_s(self, tick: int, half_held_s: float | None) -> float:
        """The lag of a press that reached the body at `tick`, from being seen to the shutter's start.

        `half_held_s` is how long half had been closed, None if it was open.
        """
        spec, random = self._spec, self._random
        rest_s = math.inf if self._last is None else (tick - self._last) / TICK_HZ
        self._first = tick if self._first is None else self._first
        self._last = tick
        lag_s = spec.lag_s + (random.gauss(0.0, spec.sigma_s) if spec.sigma_s else 0.0)
        lag_s += self._hump_s()
        if spec.warmup_s:
            lag_s += spec.warmup_s * -math.expm1(-(tick - self._first) / TICK_HZ / spec.warmup_tau_s)
        if rest_s >= spec.first_shot_rest_s:
            lag_s += spec.first_shot_s
        if spec.hurry_s:
            lag_s += spec.hurry_s * math.exp(-rest_s / spec.hurry_tau_s)
        if spec.kind == "half+full":
            held_s = half_held_s or 0.0
            if held_s < spec.wake_s:
                lag_s += spec.wake_s - held_s + spec.unready_s
        return lag_s + spec.heat_s * self._heat_now(tick)

    def warm(self, tick: int, closed_s: float) -> None:
        """A solenoid was held closed for so long, ending at `tick`."""
        self._heat_s = self._heat_now(tick) + closed_s
        self._heat_at = tick

    def _heat_now(self, tick: int) -> float:
        """Seconds of closure not yet cooled off."""
        return self._heat_s * math.exp(-(tick - self._heat_at) / TICK_HZ / self._spec.cooling_tau_s)

    def _hump_s(self) -> float:
        if not self._spec.humps:
            return 0.0
        dice = self._random.random()
        for probability, extra_s in self._spec.humps:
            if dice < probability:
                return extra_s
            dice -= probability
        return 0.0
