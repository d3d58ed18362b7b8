"""The photographer's hands: they wind, press the foot switch, forget, and press a twin cable."""

from __future__ import annotations

import math
from collections.abc import Callable
from random import Random

from coincide.box.simulated.bodies.body import Body
from coincide.box.simulated.clock import Clock, ticks_from_s
from coincide.box.simulated.spec import HandSpec

FOOT_S = 0.150  # how long the foot switch stays pressed
PATIENCE_S = 45.0  # pressed and nothing fired: the foot presses again
CABLE_HELD_S = 0.250


class Winder:
    """Winds the bodies that want it after each pair, then presses the foot switch."""

    def __init__(
        self,
        spec: HandSpec,
        bodies: tuple[Body, Body],
        clock: Clock,
        random: Random,
        foot: Callable[[bool], None],
    ) -> None:
        self._spec = spec
        self._bodies = bodies
        self._clock = clock
        self._random = random
        self._foot = foot
        self._pairs = 0

    def start(self) -> None:
        """Both are wound when the world begins; the foot says so."""
        self._press_after(self._spec.wind_median_s / 2)

    def fired(self) -> None:
        """A pair went off: take the time it takes, wind, press."""
        self._pairs += 1
        takes_s = self._spec.wind_median_s * math.exp(self._random.gauss(0.0, self._spec.wind_spread))
        self._clock.after_s(max(takes_s, 1.0), self._wind)

    def _wind(self) -> None:
        for body in self._bodies:
            if body.presses + 1 not in body.spec.faults.not_wound_at:
                body.rewind()
        self._press_after(0.3)

    def _press_after(self, seconds: float) -> None:
        pairs = self._pairs

        def press() -> None:
            if self._pairs != pairs:
                return
            self._foot(True)
            self._clock.after_s(FOOT_S, lambda: self._foot(False))
            self._press_after(PATIENCE_S)

        self._clock.after_s(seconds, press)


class CablePresser:
    """Presses a mechanical twin cable: no box, no electrical full-press."""

    def __init__(
        self,
        spec: HandSpec,
        clock: Clock,
        random: Random,
        press: Callable[[int, int], None],
    ) -> None:
        self._spec = spec
        self._clock = clock
        self._random = random
        self._press = press
        self._left = spec.cable_presses

    def start(self) -> None:
        """The first press comes after `cable_first_s`."""
        self._clock.after_s(self._spec.cable_first_s, self._next)

    def _next(self) -> None:
        if not self._left:
            return
        self._left -= 1
        spec = self._spec
        skew_s = spec.cable_skew_s + self._random.gauss(0.0, spec.cable_sigma_s)
        now, late = self._clock.now, ticks_from_s(abs(skew_s))
        self._press(now + (late if skew_s < 0 else 0), now + (late if skew_s > 0 else 0))
        self._clock.after_s(spec.cable_interval_s * self._random.uniform(0.8, 1.25), self._next)
