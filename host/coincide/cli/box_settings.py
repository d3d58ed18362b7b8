"""Reading and changing what the box remembers."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from coincide.cli.terminal.show import as_json as print_json
from coincide.cli.terminal.show import say, table
from coincide.errors import BadInput

if TYPE_CHECKING:
    from coincide.box.cable.client import BoxClient
    from coincide.rig.model import Rig


def change_settings(
    client: BoxClient, rig: Rig | None, rig_path: Path, *, forget: str | None, store: bool, use: str | None
) -> None:
    """Empty a preset, store the newest calibration, put a preset in use; in this order, as asked. Without a
    rig nothing can be stored."""
    from coincide.cli.calibration import store_preset
    from coincide.rig.calibration import calibrations_beside, newest_for

    if forget is not None:
        client.put_preset(_place(client, forget), None)
    if store and rig is not None:
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
    bench = on_the_bench(client.identity.uid)
    if as_json:
        kind = {"format": "coincide-box-settings-result", "version": 1}
        print_json({**kind, **stored, "presets": presets, "bench": bench})
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
    if bench is None and not client.identity.simulated:
        say(
            "This box was never on the bench of this computer: 'coincide box check' tests it and keeps its circuits."
        )
    elif bench is not None:
        _show_bench(bench)


@dataclass(frozen=True, slots=True)
class OnTheBench:
    """What this computer's records say of a box: the circuits fitted (A, B) and when that was said; the day of
    its zero check, None where there is none; why that is out of date, or None."""

    recorded_at: str
    sync: tuple[str, str]
    release: tuple[str, str]
    gate: tuple[str, str]
    zero_check_at: str | None
    zero_check_stale: str | None


def on_the_bench(uid: str) -> OnTheBench | None:
    """From the newest records; None when there is none of this box."""
    from coincide.bench.check.record import fitted, zero_correction

    found = fitted(uid)
    if found is None:
        return None
    zero = zero_correction(uid)
    at, stale = (None, None) if zero is None else (zero.made_at, zero.stale)
    return OnTheBench(found.made_at, found.build.sync, found.build.release, found.build.gate, at, stale)


def _show_bench(bench: OnTheBench) -> None:
    from coincide.cli.terminal.circuits import circuit_rows
    from coincide.timing.known import MEASURE_ZERO
    from coincide_wiring.netlist import Build

    rows = circuit_rows(Build(bench.sync, bench.release, bench.gate))
    table(("circuits", "body A", "body B"), rows)
    if bench.zero_check_at is None:
        say(
            "No zero check yet: with the loopback plug in, 'coincide box check --zero' measures the isolators."
        )
    elif bench.zero_check_stale is not None:
        say(f"{bench.zero_check_stale} {MEASURE_ZERO}")
    else:
        say(
            f"Circuits as recorded on {bench.recorded_at[:10]}; zero check of {bench.zero_check_at[:10]}, in force."
        )


def _place(client: BoxClient, name: str) -> int:
    names = client.identify().presets
    if name not in names:
        held = ", ".join(one for one in names if one) or "none"
        raise BadInput(f"The box has no preset '{name:.40}': it holds {held}.")
    return names.index(name)
