"""A simulated box at a port of this computer, in real time."""

from __future__ import annotations

import threading

from coincide.box.simulated.machine import Machine
from coincide.box.simulated.serve import PtyServer


class Served:
    """A server turning in its own thread, as `box serve` turns in its own process."""

    def __init__(self, machine: Machine) -> None:
        self.server = PtyServer(machine)
        self.name = self.server.name
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        while not self._stop.is_set():
            self.server.turn()

    def end(self) -> None:
        """The port is gone; once is enough."""
        if self._halted():
            self.server.close()

    def unplug(self) -> None:
        """The same, and the machine's plug is out."""
        if self._halted():
            self.server.machine.link.unplug()
            self.server.close()

    def _halted(self) -> bool:
        """Whether it was turning until now."""
        if self._stop.is_set():
            return False
        self._stop.set()
        self._thread.join()
        return True
