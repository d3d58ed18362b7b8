"""Opening the box: a real one on a port, or the simulated one, and saying which."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from coincide.bench.acknowledge import cautions_first
from coincide.bench.person import Person
from coincide.bench.simulation import world_for
from coincide.box.cable import ports
from coincide.box.cable.client import BoxClient

if TYPE_CHECKING:
    from coincide.rig.model import Rig


@contextmanager
def opened_box(
    rig: Rig | None, port: str | None, world: str | None, seed: int, person: Person
) -> Iterator[BoxClient]:
    """The box, introduced, closed again at the end. A real one only after the cautions were acknowledged.

    `rig` dresses the simulated bodies; without one they are as invented.
    """
    if port is None:
        from coincide.box.simulated.port import open_simulated
        from coincide.box.simulated.worlds import DEMO

        person.tell(
            "No --port given: a simulated box plays an invented rig; nothing real is measured, and it forgets "
            "everything afterwards."
        )
        played = (world or DEMO) if rig is None else world_for(rig, world)
        client = BoxClient(open_simulated(played, seed=seed))
    else:
        cautions_first(person)
        client = BoxClient(ports.SerialPort(port))
    try:
        yield client
    finally:
        client.close()
