"""The simulated box as a port: virtual time passes while the host reads or waits, and only then."""

from __future__ import annotations

import math

from coincide.box.cable.lost import PortLost
from coincide.box.simulated.clock import TICK_HZ, s_from_ticks
from coincide.box.simulated.machine import Machine
from coincide.box.simulated.spec import WorldSpec
from coincide.box.simulated.truth import ShotTruth
from coincide.box.simulated.world import World
from coincide.box.simulated.worlds import world_spec


class SimulatedPort:
    """A port to the box in `machine`. `world` is there for tests and for telling the truth afterwards."""

    def __init__(self, machine: Machine, name: str) -> None:
        self.name = name
        self.machine = machine
        self.world: World = machine.world
        self._connection = machine.link.connections

    @property
    def truth(self) -> tuple[ShotTruth, ...]:
        """What really happened, pair by pair."""
        return self.world.truth

    def write(self, data: bytes) -> None:
        self._check()
        self.machine.link.to_box.put(data)

    def read(self, timeout_s: float) -> bytes:
        self._check()
        self.machine.run(self._after(timeout_s), stop_on_data=True)
        self._check()
        return self.machine.link.to_host.take()

    def now_s(self) -> float:
        return s_from_ticks(self.world.clock.now)

    def wait(self, seconds: float) -> None:
        self.machine.run(self._after(seconds))

    def reopen(self) -> bool:
        self._connection = self.machine.link.connections
        return self.machine.link.plugged

    def close(self) -> None:
        """Nothing to let go of."""

    def _after(self, seconds: float) -> int:
        # Rounded up: who waits for the rest of a time must find it passed.
        return self.world.clock.now + math.ceil(max(seconds, 0.0) * TICK_HZ)

    def _check(self) -> None:
        link = self.machine.link
        if not link.plugged or self._connection != link.connections:
            raise PortLost(
                f"The box on {self.name} went away: check the USB cable and plug it in again; "
                "what was measured is kept."
            )


def open_simulated(
    world: str | WorldSpec,
    *,
    seed: int = 1,
    exposures_s: tuple[float | None, float | None] = (None, None),
) -> SimulatedPort:
    """The simulated box in a world, by name or as declared. Raises BadInput for a name there is not."""
    spec = world_spec(world) if isinstance(world, str) else world
    machine = Machine(World(spec.with_exposures(*exposures_s), seed))
    return SimulatedPort(machine, "the simulated box")
