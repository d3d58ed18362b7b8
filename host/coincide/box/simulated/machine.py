"""Runs the firmware in virtual time: turns its loop when it is due, jumps over what is idle."""

from __future__ import annotations

from coincide.box.simulated.board import BoardReset, SimulatedBoard
from coincide.box.simulated.clock import ticks_from_s
from coincide.box.simulated.flash import Flash
from coincide.box.simulated.link import Link
from coincide.box.simulated.world import World
from coincide_firmware.app.box import Box

TICKS_PER_MS = ticks_from_s(0.001)


class Machine:
    """The box with its processor, in a world. `hang` and `reset` are faults for tests to inject."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.flash = Flash(world.spec.box.flash_bytes)
        self.link = Link(world.clock, world.spec.box, world.random("link"))
        self._step_ticks = max(1, ticks_from_s(world.spec.box.step_s))
        self._box: Box | None = None
        self._due = 0
        self._next_step = 0
        self._boot("power")

    def run(self, until: int, *, stop_on_data: bool = False) -> None:
        """Let time pass to the tick `until`; with `stop_on_data` only until bytes have arrived at the host."""
        clock, link = self.world.clock, self.link
        while True:
            now = clock.now
            target = until
            if stop_on_data:
                arrives = link.to_host.next_arrival()
                if arrives is not None and arrives < target:
                    if arrives <= now:
                        return
                    target = arrives
            wake = self._wake()
            if now >= wake:
                self._turn()
                continue
            if now >= until:
                return
            planned = clock.next_tick()
            # One planned thing at a time: it may wake the box or put the world in another state.
            clock.advance(min(target, wake) if planned is None else min(target, wake, planned))

    def hang(self, seconds: float) -> None:
        """The processor is stuck for so long from now; its hardware goes on."""
        self._next_step = max(self._next_step, self.world.clock.now + ticks_from_s(seconds))

    def reset(self, cause: str, *, off_s: float | None = None) -> None:
        """The box resets now: outputs float open, USB goes away, the firmware starts anew after the boot time.

        In rescue mode ("rescue") it does not start: the port is there and silent until the next reset, for there
        is no interpreter in a simulated box.
        """
        self._box = None
        self.world.power_cut()
        self.link.unplug()
        boots_s = self.world.spec.box.boot_s if off_s is None else off_s
        self.world.clock.after_s(boots_s, lambda: self._boot(cause))

    def _boot(self, cause: str) -> None:
        self.world.power_cut()
        self.link.plug()
        if cause == "rescue":
            return
        self.world.show_interlock()
        self._board = SimulatedBoard(self.world, self.link, self.flash, cause)
        self._box = Box(self._board)
        self._due = self._next_step = self.world.clock.now

    def _wake(self) -> int:
        """When the loop turns next: when it wants to, when bytes arrive, never before its last turn has ended."""
        if self._box is None:
            return 1 << 62
        due, arrives = self._due, self.link.to_box.next_arrival()
        if arrives is not None and arrives < due:
            due = arrives
        due = max(due, self._next_step)
        starved = self._board.starved_tick
        return due if due < starved else starved

    def _turn(self) -> None:
        now = self.world.clock.now
        if now >= self._board.starved_tick:
            self.reset("watchdog")
            return
        assert self._box is not None
        try:
            idle_ms = self._box.step()
        except BoardReset as reset:
            self.reset("rescue" if reset.rescue else "reset")
            return
        self._next_step = now + self._step_ticks
        self._due = max(now + idle_ms * TICKS_PER_MS, self._next_step)
