"""The board object of the simulated box: what the firmware may ask of its hardware."""

from __future__ import annotations

import zlib
from collections.abc import Callable
from typing import Any

from coincide.box.simulated.clock import TICK_HZ, s_from_ticks, ticks_from_s
from coincide.box.simulated.flash import Flash
from coincide.box.simulated.lamps import LampRun
from coincide.box.simulated.link import Link
from coincide.box.simulated.world import World
from coincide_firmware.app.pins import CHANNELS


class BoardReset(BaseException):
    """The firmware asked for a reset. Not an Exception: on a chip no handler catches a reset either.

    `rescue`: into rescue mode.
    """

    def __init__(self, *, rescue: bool = False) -> None:
        super().__init__()
        self.rescue = rescue


class SimulatedBoard:
    """One life of the box, from boot to reset. All times of arguments are ticks."""

    tick_hz = TICK_HZ

    def __init__(self, world: World, link: Link, flash: Flash, reset_cause: str) -> None:
        self.files = flash
        self._watchdog_ticks = ticks_from_s(world.spec.box.watchdog_s)
        self._world = world
        self._link = link
        self._reset_cause = reset_cause
        # A box of its own for each world and seed: what one learned does not hold for another.
        played = zlib.crc32(world.spec.name.encode()) & 0xFFFF
        self._uid = f"sim-{world.seed & 0xFFFFFFFF:08x}-{played:04x}"
        self.starved_tick = 0
        """When the watchdog bites unless it is fed before."""
        self.feed_watchdog()

    def identity(self) -> dict[str, Any]:
        return {
            "board": "simulated",
            "chip": "none",
            "uid": self._uid,
            "micropython": "none",
            "clock_hz": TICK_HZ,
            "reset_cause": self._reset_cause,
            "simulated": True,
        }

    def millis(self) -> int:
        return self._world.box_tick * 1000 // TICK_HZ

    def tick(self) -> int:
        return self._world.box_tick

    def read_edges(self, sink: Callable[[int, int, int], object]) -> int:
        return self._world.sampler.read(self._world.clock.now, sink)

    def edges_waiting(self) -> bool:
        return False  # `read_edges` leaves nothing

    def start_pair(self, delay_a: int, delay_b: int, lead: int, closure: int) -> None:
        self._world.start_pair(delay_a, delay_b, lead, closure)

    def start_pulse(self, output: int, closure: int) -> None:
        self._world.start_pulse(output, closure)

    def hold_half(self, closed: bool) -> None:
        self._world.releases.hold_half(closed)

    def outputs_busy(self) -> bool:
        return self._world.releases.busy

    def outputs_closed(self) -> int:
        return self._world.releases.closed_mask

    def pull_downs_held(self) -> int:
        self._world.releases.ensure_open()
        missing = self._world.spec.box.pull_downs_missing
        return 15 & ~sum(1 << CHANNELS.index(name) for name in missing)

    def ensure_open(self) -> None:
        self._world.releases.ensure_open()

    def interlock_closed(self) -> bool:
        return self._world.interlock_closed

    def pressed(self, name: str) -> bool:
        return self._world.pressed[name]

    def missed_looks(self) -> bytes:
        return b""  # nothing holds the loop up here

    def lights(self, ok: int, out: int) -> None:
        self._world.lights = (ok, out)

    def run_lamps(self, lamps: int, step_ticks: int, rows: int) -> None:
        start_s = s_from_ticks(self._world.clock.now)
        self._world.lamp_runs.append(LampRun(start_s, step_ticks / TICK_HZ, lamps, rows))

    def serial_read(self) -> bytes:
        return self._link.to_box.take()

    def serial_write(self, data: bytes) -> int:
        return self._link.box_write(data)

    def feed_watchdog(self) -> None:
        self.starved_tick = self._world.clock.now + self._watchdog_ticks

    def reset(self) -> None:
        raise BoardReset

    def rescue(self) -> None:
        raise BoardReset(rescue=True)
