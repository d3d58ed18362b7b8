"""The hand at the simulated box: it does what the bench test asks for and answers yes."""

from __future__ import annotations

import math

from coincide.bench.person import Question
from coincide.box.simulated.world import World
from coincide_firmware.app.pins import CHANNELS

REACHES_S = 0.5
HOLDS_S = 0.2


class SimulatedHand:
    """Presses, shorts, lights and switches in a simulated world. `instead` maps a signal to those that it
    reaches, for wiring that is wrong: {"sync_a": ("sync_b",)}."""

    def __init__(self, world: World, instead: dict[str, tuple[str, ...]] | None = None) -> None:
        self._world = world
        self._instead = instead or {}

    def __call__(self, question: Question) -> bool:
        """Do it; the answer is always yes."""
        reached = self._instead.get(question.signal, (question.signal,))
        match question.act:
            case "press":
                for name in reached:
                    self._press(name)
            case "short" | "light":
                for name in reached:
                    self._close(CHANNELS.index(name))
            case "interlock" if question.signal == "open":
                self._world.open_interlock(math.inf)
            case "interlock":
                self._world.close_interlock()
        return True

    def _press(self, name: str) -> None:
        clock = self._world.clock
        clock.after_s(REACHES_S, lambda: self._world.set_input(name, True))
        clock.after_s(REACHES_S + HOLDS_S, lambda: self._world.set_input(name, False))

    def _close(self, channel: int) -> None:
        clock, sampler = self._world.clock, self._world.sampler
        clock.after_s(REACHES_S, lambda: sampler.drive(channel, clock.now, True))
        clock.after_s(REACHES_S + HOLDS_S, lambda: sampler.drive(channel, clock.now, False))
