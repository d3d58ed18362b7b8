"""The release outputs: closed and opened by the clock, as the real box does it in hardware."""

from __future__ import annotations

from collections.abc import Callable

from coincide.box.simulated.clock import Clock

HALF = (0, 2)
FULL = (1, 3)


class Releases:
    """Outputs 0..3 are half_a, full_a, half_b, full_b.

    `changed(output, closed)` is told of each change as it happens. With the interlock open nothing closes,
    and what is closed opens: the interlock is wired to the hardware that times the outputs.
    """

    def __init__(
        self,
        clock: Clock,
        interlock_closed: Callable[[], bool],
        changed: Callable[[int, bool], None],
    ) -> None:
        self._clock = clock
        self._interlock_closed = interlock_closed
        self._changed = changed
        self.closed_mask = 0
        """Outputs closed now: half_a 1, full_a 2, half_b 4, full_b 8."""
        self._run = 0
        self._running = 0
        self._finger = False

    @property
    def busy(self) -> bool:
        """A timed sequence has not ended."""
        return self._running > 0

    def start_pair(self, delay_a: int, delay_b: int, lead: int, closure: int) -> None:
        """Halves close now, each full after lead and its delay; each body opens `closure` later. Ticks."""
        now = self._clock.now
        if self.busy or not self._interlock_closed():
            return
        run = self._run
        for body, delay in enumerate((delay_a, delay_b)):
            self._running += 1
            self._set(HALF[body], True)
            press = now + lead + delay
            self._later(press, run, lambda body=body: self._set(FULL[body], True))  # type: ignore[misc]
            self._later(press + closure, run, lambda body=body: self._end(body))  # type: ignore[misc]

    def start_pulse(self, output: int, closure: int) -> None:
        """One output closes now, for `closure` ticks."""
        if self.busy or not self._interlock_closed():
            return
        self._running += 1
        self._set(output, True)
        self._later(self._clock.now + closure, self._run, lambda: self._end_pulse(output))

    def hold_half(self, closed: bool) -> None:
        """Half-press of both follows the finger."""
        self._finger = closed and self._interlock_closed()
        if not self.busy:
            for output in HALF:
                self._set(output, self._finger)

    def ensure_open(self) -> None:
        """All outputs open now; whatever was planned is forgotten."""
        self._run += 1
        self._running = 0
        self._finger = False
        for output in (1, 0, 3, 2):
            self._set(output, False)

    def _later(self, tick: int, run: int, happen: Callable[[], None]) -> None:
        def unless_cancelled() -> None:
            if run == self._run:
                happen()

        self._clock.at(tick, unless_cancelled)

    def _end(self, body: int) -> None:
        self._set(FULL[body], False)
        self._set(HALF[body], self._finger)
        self._running -= 1

    def _end_pulse(self, output: int) -> None:
        self._set(output, False)
        self._running -= 1

    def _set(self, output: int, closed: bool) -> None:
        if bool(self.closed_mask >> output & 1) != closed:
            self.closed_mask ^= 1 << output
            self._changed(output, closed)
