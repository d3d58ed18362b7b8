"""Reading and changing what the box remembers."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coincide.bench.check.record import fitted, zero_correction
from coincide.bench.field import field_settings, held_preset, preset_words
from coincide.bench.opening.knowledge import known_now
from coincide.bench.person import Declined, Person, Question
from coincide.errors import BadInput, BoxFailed
from coincide.rig.calibration import Calibration, calibrations_beside, newest_for
from coincide.timing.offset.preset import box_preset
from coincide_firmware.app.settings import PRESETS_MOST

if TYPE_CHECKING:
    from coincide.box.cable.client import BoxClient
    from coincide.rig.model import Rig


@dataclass(frozen=True, slots=True)
class Remembered:
    """What the box holds: its numbers (`ok` False where they could not be read, then `say` says it), its presets
    and the name of the one in use, and what this computer's records say of it."""

    ok: bool
    say: str
    values: dict[str, int]
    presets: tuple[dict[str, Any], ...]
    used: str | None
    bench: OnTheBench | None
    simulated: bool


def remembered(client: BoxClient) -> Remembered:
    """Numbers and presets as stored."""
    stored = client.settings()
    names = client.identify().presets
    places = [place for place, name in enumerate(names) if name is not None]
    presets = tuple(preset for place in places if (preset := client.preset(place)) is not None)
    chosen = stored["values"].get("preset", -1)
    used = names[chosen] if 0 <= chosen < len(names) else None
    bench = on_the_bench(client.identity.uid)
    simulated = client.identity.simulated
    return Remembered(
        bool(stored["ok"]), str(stored.get("say", "")), stored["values"], presets, used, bench, simulated
    )


@dataclass(frozen=True, slots=True)
class Change:
    """What is to change: a preset to `forget`, one to `use`, the newest calibration to `store` (made with another box
    only with `any_box`; over another preset only when `confirmed` or asked)."""

    forget: str | None = None
    use: str | None = None
    store: bool = False
    any_box: bool = False
    confirmed: bool = False


def change_settings(
    client: BoxClient, rig: Rig | None, rig_path: Path, change: Change, person: Person
) -> None:
    """Empty a preset, store the newest calibration, put a preset in use; in this order, as asked. Without a
    rig nothing can be stored."""
    if change.forget is not None:
        client.put_preset(_place(client, change.forget), None)
    if change.store and rig is not None:
        _store_newest(client, rig, rig_path, change, person)
    if change.use is not None:
        client.put_settings({"preset": _place(client, change.use)})


def _store_newest(client: BoxClient, rig: Rig, rig_path: Path, change: Change, person: Person) -> None:
    """Raises BadInput where there is none, or it is of another box; Declined when the person says no."""
    simulated = client.identity.simulated
    found = newest_for(calibrations_beside(rig_path, simulated=simulated)[0], rig)
    if found is None:
        raise BadInput(
            f"There is no calibration for {' and '.join(rig.exposures)} beside {rig_path}: "
            "'coincide calibrate' makes one."
        )
    made_with = found.calibration.box
    if made_with and made_with != client.identity.uid and not change.any_box:
        raise BadInput(
            f"{found.path.name} was made with box {made_with}; this one is {client.identity.uid}: calibrate with this "
            "one, or say --any-box if its circuits are the same."
        )
    wanted = box_preset(rig, found.calibration, known_now(rig, rig_path, client.identity))
    held = held_preset(client, str(wanted["name"]))
    if held is not None and preset_words(held) != preset_words(wanted):
        person.tell(f"Preset {wanted['name']} in the box {preset_words(held)}.")
        person.tell(f"{found.path.name} {preset_words(wanted)}.")
        if not change.confirmed:
            if not person.there:
                raise BadInput("Nobody is there to ask whether to replace it: say --yes.")
            if not person.confirm(Question("Replace it?")):
                raise Declined
    store_preset(client, rig, rig_path, found.calibration)


def store_preset(client: BoxClient, rig: Rig, rig_path: Path, calibration: Calibration) -> None:
    """Into the place of the same name, else the first empty one; and in use from now on."""
    preset = box_preset(rig, calibration, known_now(rig, rig_path, client.identity))
    names = [*client.identify().presets]
    names += [None] * (PRESETS_MOST - len(names))
    if preset["name"] not in names and None not in names:
        raise BoxFailed(
            f"The calibration is kept, but the box holds {PRESETS_MOST} presets already: free a place with "
            "'coincide box settings --forget NAME', then store it with 'coincide box settings --store'."
        )
    place = names.index(preset["name"] if preset["name"] in names else None)
    client.put_preset(place, preset)
    client.put_settings({"preset": place, **field_settings(rig)})


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
    found = fitted(uid)
    if found is None:
        return None
    zero = zero_correction(uid)
    at, stale = (None, None) if zero is None else (zero.made_at, zero.stale)
    return OnTheBench(found.made_at, found.build.sync, found.build.release, found.build.gate, at, stale)


def _place(client: BoxClient, name: str) -> int:
    names = client.identify().presets
    if name not in names:
        held = ", ".join(one for one in names if one) or "none"
        raise BadInput(f"The box has no preset '{name:.40}': it holds {held}.")
    return names.index(name)
