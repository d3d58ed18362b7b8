"""Opening the box for a command: a real one on a port, or the simulated one, and saying which."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from coincide.cli.terminal.show import aside

if TYPE_CHECKING:
    from coincide.box.cable.client import BoxClient
    from coincide.rig.model import Rig


@contextmanager
def opened_box(rig: Rig | None, port: str | None, world: str | None, seed: int) -> Iterator[BoxClient]:
    """The box, introduced, closed again at the end. A real one only after the cautions were acknowledged.

    `rig` dresses the simulated bodies; without one they are as invented.
    """
    from coincide.box.cable.client import BoxClient
    from coincide.box.cable.ports import SerialPort
    from coincide.box.simulated.port import open_simulated
    from coincide.box.simulated.worlds import DEMO
    from coincide.cli.simulation import world_for
    from coincide.cli.terminal.cautions_first import cautions_first

    if port is None:
        aside(
            "No --port given: a simulated box plays an invented rig; nothing real is measured, and it forgets "
            "everything afterwards."
        )
        played = (world or DEMO) if rig is None else world_for(rig, world)
        client = BoxClient(open_simulated(played, seed=seed))
    else:
        cautions_first()
        client = BoxClient(SerialPort(port))
    try:
        yield client
    finally:
        client.close()
