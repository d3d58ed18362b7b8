"""The invented day that a rehearsal of `framelog` reads: calibrated, taken out, fired by the box's own button."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from coincide.bench.box_settings import store_preset
from coincide.bench.person import Person
from coincide.errors import BoxFailed
from coincide.rig.calibration import calibrations_beside, newest_for, preset_name

if TYPE_CHECKING:
    from coincide.box.cable.client import BoxClient
    from coincide.rig.model import Rig

HOME_S = 10.0


def after_a_day_afield(client: BoxClient, rig: Rig | None, rig_path: Path | None, person: Person) -> None:
    """Where the world of a simulated box begins with frames fired by the button, let that day pass.

    The box gets the preset of the newest calibration first, as a photographer would have stored it.
    """
    from coincide.box.simulated.afield import spend_the_day
    from coincide.box.simulated.port import SimulatedPort

    port = client.port
    if not isinstance(port, SimulatedPort) or not port.world.spec.hand.button_presses:
        return
    found = None
    if rig is not None and rig_path is not None:
        found = newest_for(calibrations_beside(rig_path)[0], rig)
    if rig is not None and rig_path is not None and found is not None:
        store_preset(client, rig, rig_path, found.calibration)
    elif rig is not None:
        person.tell(
            f"Nothing is calibrated for {preset_name(rig.exposures)}: the invented box was out without a preset."
        )
    spend_the_day(port)
    if not client.reconnect(HOME_S):
        return
    raise BoxFailed(
        "The simulated box did not come back from its day: report this, it is a fault of coincide."
    )
