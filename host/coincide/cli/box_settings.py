"""Reading and changing what the box remembers."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from coincide.cli.show import as_json as print_json
from coincide.cli.show import say, table
from coincide.errors import BadInput

if TYPE_CHECKING:
    from coincide.box.client import BoxClient
    from coincide.rig.model import Rig


def change_settings(
    client: BoxClient, rig: Rig, rig_path: Path, *, forget: str | None, store: bool, use: str | None
) -> None:
    """Empty a preset, store the newest calibration, put a preset in use; in this order, as asked."""
    from coincide.cli.calibration import store_preset
    from coincide.rig.calibration import calibrations_beside, newest_for

    if forget is not None:
        client.put_preset(_place(client, forget), None)
    if store:
        found = newest_for(calibrations_beside(rig_path)[0], rig)
        if found is None:
            raise BadInput(
                f"There is no calibration for {' and '.join(rig.exposures)} beside {rig_path}: "
                "'coincide calibrate' makes one."
            )
        store_preset(client, rig, found.calibration)
    if use is not None:
        client.put_settings({"preset": _place(client, use)})


def show_settings(client: BoxClient, *, as_json: bool) -> None:
    """Numbers and presets as stored."""
    stored = client.settings()
    presets = [
        client.preset(place) for place, name in enumerate(client.identify().presets) if name is not None
    ]
    if as_json:
        print_json({"format": "coincide-box-settings-result", "version": 1, **stored, "presets": presets})
        return
    if not stored["ok"]:
        say(str(stored["say"]))
    table(("setting", "value"), [(name, str(value)) for name, value in stored["values"].items()])
    rows = [
        (
            str(preset["name"]),
            f"A {preset['delay_a_ns'] * 1e-6:.3f} ms"
            if preset["delay_a_ns"]
            else f"B {preset['delay_b_ns'] * 1e-6:.3f} ms",
            f"{preset['tolerance_ns'] * 1e-6:.2f} ms",
        )
        for preset in presets
        if preset is not None
    ]
    if rows:
        table(("preset", "holds back", "tolerance"), rows)
    else:
        say("No presets yet: 'coincide calibrate' stores one for its pair of shutter times.")


def _place(client: BoxClient, name: str) -> int:
    names = client.identify().presets
    if name not in names:
        held = ", ".join(one for one in names if one) or "none"
        raise BadInput(f"The box has no preset '{name:.40}': it holds {held}.")
    return names.index(name)
