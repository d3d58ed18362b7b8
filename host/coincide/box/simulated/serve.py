"""The simulated box on a pseudo-terminal, in real time: whatever opens serial ports can talk to it.

POSIX only, as pseudo-terminals are; elsewhere the simulated box is reached without a port.
"""

from __future__ import annotations

import contextlib
import os
import select
import sys
import time
from collections.abc import Callable

from coincide.box.simulated.clock import TICK_HZ
from coincide.box.simulated.machine import Machine
from coincide.box.simulated.port import open_simulated
from coincide.box.simulated.spec import WorldSpec
from coincide.errors import BadInput

TURN_S = 0.005  # real time between looks at the world when no bytes come
READ_BYTES = 4096


class PtyServer:
    """Offers a machine on a new pseudo-terminal called `name`, until closed. Raises BadInput without POSIX."""

    def __init__(self, machine: Machine) -> None:
        if sys.platform == "win32":
            raise BadInput(
                "This system has no pseudo-terminals: leave the port out, and the simulated box is used directly."
            )
        import tty

        self.machine = machine
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.name = os.ttyname(self._slave)
        self._began_s = time.monotonic() - machine.world.clock.now / TICK_HZ
        self._unsent = b""

    def turn(self) -> None:
        """Let the world catch up with real time; bytes both ways. Returns after at most about TURN_S."""
        ready, _, _ = select.select([self._master], [], [], TURN_S)
        if ready:
            with contextlib.suppress(BlockingIOError):
                self.machine.link.to_box.put(os.read(self._master, READ_BYTES))
        self.machine.run(int((time.monotonic() - self._began_s) * TICK_HZ))
        self._unsent = self._unsent or self.machine.link.to_host.take()
        if self._unsent:
            # When nobody reads, the box finds its line full, as on a real port.
            with contextlib.suppress(BlockingIOError):
                self._unsent = self._unsent[os.write(self._master, self._unsent) :]

    def close(self) -> None:
        """End the pseudo-terminal: whoever has it open finds the box unplugged."""
        os.close(self._slave)
        os.close(self._master)


def serve(
    world: str | WorldSpec,
    *,
    seed: int = 1,
    exposures_s: tuple[float | None, float | None] = (None, None),
    ready: Callable[[str], None],
    stop: Callable[[], bool],
) -> None:
    """Serve a world until `stop` says so or Ctrl-C; `ready` is told the name of the port. Raises BadInput."""
    server = PtyServer(open_simulated(world, seed=seed, exposures_s=exposures_s).machine)
    try:
        ready(server.name)
        while not stop():
            server.turn()
    except KeyboardInterrupt:
        pass
    finally:
        server.close()
