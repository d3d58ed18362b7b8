"""Opening the box: the one named, the one that is plugged in, or the simulated one; and saying which."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from coincide.bench.afield import after_a_day_afield
from coincide.bench.opening.acknowledge import cautions_first
from coincide.bench.opening.simulation import world_for
from coincide.bench.person import Opened, Person
from coincide.box.cable import discover, ports
from coincide.box.cable.client import BoxClient
from coincide.box.cable.starting import STARTS_S
from coincide.errors import BadInput
from coincide.rig.calibration import calibrations_beside

if TYPE_CHECKING:
    from coincide.box.cable.discover import Found
    from coincide.rig.model import Rig


@dataclass(frozen=True, slots=True)
class Where:
    """Which box: the one on `port`; else a simulated one playing `world`, where that is named or `simulated` is asked
    for; else the one that is plugged in, and a simulated one, playing `world_else`, where there is none."""

    port: str | None = None
    world: str | None = None
    seed: int = 1
    simulated: bool = False
    world_else: str | None = None


@contextmanager
def opened_box(
    rig: Rig | None, where: Where, person: Person, rig_path: Path | None = None
) -> Iterator[BoxClient]:
    """The box, introduced, closed again at the end. Nothing is asked of a real one but
    who it is before the cautions were acknowledged.

    `rig` dresses the simulated bodies; without one they are as invented. `rig_path`: of several boxes the one that rig
    was calibrated with is used. Raises BadInput where there are several and nobody can be asked.
    """
    port = where.port
    if port is None and where.world is None and not where.simulated:
        port = _plugged_in(person, rig_path)
    if port is None:
        from coincide.box.simulated.port import open_simulated
        from coincide.box.simulated.worlds import DEMO

        world = where.world or where.world_else
        played = (world or DEMO) if rig is None else world_for(rig, world)
        client = BoxClient(open_simulated(played, seed=where.seed))
        why = "" if where.world or where.simulated else "no box is plugged in, so "
        said = f"Simulated: {why}an invented rig is played. Nothing real is measured."
    else:
        client = BoxClient(ports.SerialPort(port), starts_s=STARTS_S, starting=person.tell)
        if not client.identity.simulated:
            _cautioned(client, person)
        said = f"The box on {client.port.name}."
        if client.identity.simulated:
            said = (
                f"Simulated: the box on {client.port.name} plays an invented rig. Nothing real is measured."
            )
    try:
        person.progress(Opened(said, client.identity.simulated))
        after_a_day_afield(client, rig, rig_path, person)
        yield client
    finally:
        client.close()


def _cautioned(client: BoxClient, person: Person) -> None:
    """The cautions before anything is asked of a real box but who it is; without them it is let go of."""
    try:
        cautions_first(person)
        client.cautions_read = True
    except BaseException:
        client.close()
        raise


def _plugged_in(person: Person, rig_path: Path | None) -> str | None:
    """The port of the box that is plugged in, or None. Boards that do not answer are told of."""
    found = discover.find_boxes()
    boxes = [one for one in found if one.identity is not None]
    for one in found:
        if one.kind == discover.BOARD:
            person.tell(f"Not used: {one.say}")
    if len(boxes) < 2:
        return boxes[0].device if boxes else None
    known = None if rig_path is None else _calibrated_with(rig_path)
    own = [one for one in boxes if one.identity is not None and one.identity.uid == known]
    if own:
        return own[0].device
    return _asked_for(boxes, person)


def _asked_for(boxes: list[Found], person: Person) -> str:
    names = [one.device for one in boxes]
    if not person.there:
        raise BadInput(f"There are {len(boxes)} boxes: say which with --port, {' or '.join(names)}.")
    return person.ask(f"There are {len(boxes)} boxes ({', '.join(names)}). Which", choices=names)


def _calibrated_with(rig_path: Path) -> str | None:
    """The box of the newest measured calibration of a rig."""
    found, _ = calibrations_beside(rig_path, simulated=False)
    return found[0].calibration.box if found else None
