"""Calibrations: what a series found about a pair of shutter times, kept beside the rig, dated, for good."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import tomlkit
from pydantic import ConfigDict, TypeAdapter, ValidationError, with_config
from tomlkit.items import Table

from coincide.durable import make_folder, write_new
from coincide.errors import BadInput
from coincide.rig.file import check_format, parse_toml, read_text
from coincide.rig.model import Rig
from coincide.rig.parts import Leaf, Part

FORMAT = "coincide-calibration"
VERSION = 1
BODY_LETTERS = ("a", "b")
SIMULATED = "simulated"  # folder beside the rig
SIMULATED_UID = "sim-"  # with which the identity of every simulated box begins
MOST_S = 3600.0  # of any time in a calibration
SHOTS_MOST = 1_000_000
_STRICT = ConfigDict(extra="forbid", allow_inf_nan=False)


@with_config(_STRICT)
@dataclass(frozen=True, slots=True)
class Learned:
    """What gate sensors taught about a body, so that its sync contact alone will do later.

    None where nothing was learned; `u` is a standard uncertainty. body: 0 = A, 1 = B. sync_to_open_s: from
    sync closing to half-peak opening at frame centre, negative when the gate opened first; nearly the same at
    every marked speed. exposure_s: at the marked time `exposure`.
    """

    body: int
    exposure: str
    sync_to_open_s: float | None = None
    sync_to_open_u_s: float | None = None
    exposure_s: float | None = None
    exposure_u_s: float | None = None
    travel_s: float | None = None
    travel_u_s: float | None = None


@with_config(_STRICT)
@dataclass(frozen=True, slots=True)
class Verification:
    """The fresh series fired with the offset on."""

    shots: int
    keepers: int
    centre_s: float
    centre_interval_s: tuple[float, float]
    jitter_s: float
    keepers_interval: tuple[float, float]
    passed: bool


@with_config(_STRICT)
@dataclass(frozen=True, slots=True)
class Calibration:
    """One calibration of one pair of shutter times.

    created: ISO 8601 with zone, as the clock said. exposures: as marked, of A and B; apertures: f-numbers, which
    matter for leaf shutters. offset_s: positive delays body A; interval_s its 95 % interval. jitter_s: spread of the
    skew about its centre (standard deviation or its robust equal). expected_keepers: 0 to 1 within tolerance_s.
    how: the sensors it rests on. rig: the keys on which it depends, as text, to tell later what was changed.
    ranked_as: the instant it counts as among others where the clock had been set back, else None. simulated: made on a
    simulated box, so nothing of it was measured.
    """

    created: str
    rig_name: str
    exposures: tuple[str, str]
    apertures: tuple[float, float]
    offset_s: float
    interval_s: tuple[float, float]
    jitter_s: float
    expected_keepers: float
    tolerance_s: float
    shots: int
    how: str
    sessions: tuple[str, ...]
    box: str
    verification: Verification | None = None
    learned: tuple[Learned, ...] = ()
    rig: dict[str, str] = field(default_factory=dict)
    ranked_as: str | None = None
    simulated: bool = False

    @property
    def rank(self) -> datetime:
        """The instant by which calibrations are put in order."""
        return datetime.fromisoformat(self.ranked_as or self.created)

    @property
    def preset(self) -> str:
        """The name of the pair, shown by the box and written into every session: '1/60+1/30'."""
        return preset_name(self.exposures)


@dataclass(frozen=True, slots=True)
class Found:
    """A calibration file that was read."""

    path: Path
    calibration: Calibration

    @property
    def simulated(self) -> bool:
        """Whether nothing of it was measured. Files of the first version say so by the box's name alone."""
        return self.calibration.simulated or self.calibration.box.startswith(SIMULATED_UID)


def kept_in(rig_path: Path, *, simulated: bool) -> Path:
    """The folder of what is kept beside a rig: what simulated boxes made is apart."""
    return rig_path.parent / SIMULATED if simulated else rig_path.parent


def preset_name(exposures: tuple[str, str]) -> str:
    """What a pair of shutter times is called: '1/60+1/30'."""
    return "+".join(exposures)


def name_in_files(exposures: tuple[str, str]) -> str:
    """The pair as it stands in the names of files: '1-60+1-30'. Earlier calibrations have '1_60+1_30'."""
    return "+".join(re.sub(r"[^0-9A-Za-z.]+", "-", text) for text in exposures)


def timing_keys(rig: Rig) -> dict[str, str]:
    """The keys of a rig on which release and shutter timing depend, as 'bodies.a.release' -> 'half+full'.

    What is set from picture to picture (exposure, aperture, focus) is not among them, nor what only the
    analysis uses.
    """
    keys = {"release.lead": f"{rig.release.lead_s:g} s", "release.closure": f"{rig.release.closure_s:g} s"}
    for letter, body in zip(BODY_LETTERS, rig.both, strict=True):
        for name in ("name", "release", "sync"):
            keys[f"bodies.{letter}.{name}"] = str(getattr(body, name))
        shutter: Part = body.shutter
        for name in ("kind", "travel_s", "opening_s", "closing_s", "readout_s", "sweep"):
            if name in type(shutter).model_fields:
                value = getattr(shutter, name)
                text = f"{value:g} s" if isinstance(value, float) else str(value)
                keys[f"bodies.{letter}.shutter.{name.removesuffix('_s')}"] = text
    return keys


def stale_reasons(calibration: Calibration, rig: Rig, box: str | None = None) -> tuple[str, ...]:
    """Why the calibration no longer holds for this rig and box, a sentence each; empty when it does."""
    reasons = _changed(calibration.rig, rig, "when it was calibrated")
    for body, shutter in enumerate(one.shutter for one in rig.both):
        if isinstance(shutter, Leaf) and not _same_aperture(calibration.apertures[body], rig, body):
            reasons.append(
                f"bodies.{BODY_LETTERS[body]}.lens.aperture was f/{calibration.apertures[body]:g} and is "
                f"f/{rig.both[body].lens.aperture:g} now: a leaf shutter's timing depends on it."
            )
    if box is not None and calibration.box and box != calibration.box:
        reasons.append(f"It was made with box {calibration.box}; this one is {box}.")
    return tuple(reasons)


def changed_since(was: Rig, rig: Rig, when: str, *, names: bool = True) -> tuple[str, ...]:
    """What of a rig has changed on which its timing depends, a sentence each. names: whether `was` knew its bodies'."""
    keys = {key: text for key, text in timing_keys(was).items() if names or not key.endswith(".name")}
    reasons = _changed(keys, rig, when)
    for letter, before, now in zip(BODY_LETTERS, was.both, rig.both, strict=True):
        if isinstance(now.shutter, Leaf) and not math.isclose(before.lens.aperture, now.lens.aperture):
            reasons.append(
                f"bodies.{letter}.lens.aperture was f/{before.lens.aperture:g} {when} and is "
                f"f/{now.lens.aperture:g} now: a leaf shutter's timing depends on it."
            )
    return tuple(reasons)


def _changed(was: dict[str, str], rig: Rig, when: str) -> list[str]:
    now = timing_keys(rig)
    return [
        f"{key} was {text!r} {when} and is {now.get(key, 'gone')!r} now."
        for key, text in was.items()
        if now.get(key) != text
    ]


def save_calibration(rig_path: str | os.PathLike[str], calibration: Calibration) -> Path:
    """Write a calibration beside its rig, under a name of its own; a simulated one in `simulated` there. No file is
    ever overwritten.

    It counts as newer than all that lie there, whatever the clock says.
    """
    rig_path = Path(rig_path)
    folder = kept_in(rig_path, simulated=calibration.simulated)
    if calibration.simulated:
        make_folder(folder)
    newest = next(iter(calibrations_beside(rig_path, simulated=calibration.simulated)[0]), None)
    if newest is not None and calibration.rank <= newest.calibration.rank:
        later = newest.calibration.rank + timedelta(seconds=1)
        calibration = replace(calibration, ranked_as=later.isoformat())
    stamp = re.sub(r"[^0-9T]", "", calibration.created[:19]).replace("T", "-")
    pair = name_in_files(calibration.exposures)
    text = calibration_toml(calibration)
    for attempt in range(1, 1000):
        suffix = "" if attempt == 1 else f"-{attempt}"
        path = folder / f"{rig_path.stem}-calibration-{stamp}-{pair}{suffix}.toml"
        try:
            write_new(path, text.encode())
        except FileExistsError:
            continue
        except OSError as error:
            raise BadInput(
                f"{path} cannot be written ({error.strerror}): make room or mend the folder, then calibrate again; "
                "the sessions are kept."
            ) from error
        return path
    raise BadInput(f"{rig_path.parent} holds a thousand calibrations of the same second: clear it up.")


def read_calibration(path: str | os.PathLike[str]) -> Calibration:
    """Read a calibration file. Raises BadInput in a sentence."""
    return parse_calibration(read_text(Path(path), "calibration"), str(path))


def calibrations_beside(
    rig_path: str | os.PathLike[str], *, simulated: bool | None = None
) -> tuple[tuple[Found, ...], tuple[str, ...]]:
    """The calibrations beside a rig, newest first, and a sentence for each file that could not be read.

    simulated: only those of simulated boxes, or only measured ones. By default those that were measured; where there
    is none, the simulated ones.
    """
    rig_path = Path(rig_path)
    found: list[Found] = []
    complaints: list[str] = []
    prefix = f"{rig_path.stem}-calibration-"
    folders = [kept_in(rig_path, simulated=apart) for apart in (False, True)]
    for path in (path for folder in folders for path in sorted(folder.glob("*.toml"))):
        if path.name.startswith(prefix):
            try:
                found.append(Found(path, read_calibration(path)))
            except BadInput as complaint:
                complaints.append(str(complaint))
    found.sort(key=lambda one: (one.calibration.rank, one.path.name), reverse=True)
    measured = [one for one in found if not one.simulated]
    if simulated if simulated is not None else not measured:
        measured = [one for one in found if one.simulated]
    return tuple(measured), tuple(complaints)


def newest_for(found: Iterable[Found], rig: Rig) -> Found | None:
    """The newest calibration of the rig's pair of shutter times; of its apertures too, for leaf shutters."""
    for one in found:
        apertures_agree = all(
            not isinstance(body.shutter, Leaf) or _same_aperture(one.calibration.apertures[index], rig, index)
            for index, body in enumerate(rig.both)
        )
        if one.calibration.exposures == rig.exposures and apertures_agree:
            return one
    return None


def learned_for(found: Iterable[Found], rig: Rig, body: int) -> Learned | None:
    """The newest that is known of a body, put together from all that was learned.

    Sync-to-open and travel from any pair of shutter times, the exposure only from the marked time that is
    set. Nothing from before a change of the body, its kind of shutter or its sync contact.
    """
    marked = rig.exposures[body]
    prefix = f"bodies.{BODY_LETTERS[body]}."
    keys = {prefix + key for key in ("name", "sync", "shutter.kind")}
    now = {key: value for key, value in timing_keys(rig).items() if key in keys}
    known: dict[str, float] = {}
    for one in found:
        was = one.calibration.rig
        if any(was.get(key, value) != value for key, value in now.items()):
            continue
        for learned in one.calibration.learned:
            if learned.body != body:
                continue
            for name in ("sync_to_open", "travel", "exposure"):
                value, u = getattr(learned, f"{name}_s"), getattr(learned, f"{name}_u_s")
                usable = name != "exposure" or learned.exposure == marked
                if value is not None and u is not None and usable and f"{name}_s" not in known:
                    known |= {f"{name}_s": value, f"{name}_u_s": u}
    return Learned(body, marked, **known) if known else None


def calibration_toml(calibration: Calibration) -> str:
    """The file's text, commented for whoever opens it."""
    document = tomlkit.document()
    who = "body A" if calibration.offset_s >= 0 else "body B"
    document.add(tomlkit.comment("A calibration: read by coincide, never changed. Times in seconds."))
    document.add(tomlkit.comment(f"In short: delay {who} by {abs(calibration.offset_s) * 1e3:.2f} ms."))
    document.add("format", tomlkit.item(FORMAT))
    document.add("version", tomlkit.item(VERSION))
    values = asdict(calibration)
    tables = {name: values.pop(name) for name in ("verification", "learned", "rig")}
    for name in ("ranked_as", "simulated"):
        if not values[name]:
            del values[name]
    for name, value in values.items():
        document.add(name, tomlkit.item(list(value) if isinstance(value, tuple) else value))
    if tables["verification"] is not None:
        document.add("verification", _table(tables["verification"]))
    if tables["learned"]:
        rows = tomlkit.aot()
        for row in tables["learned"]:
            rows.append(_table(row))
        document.add("learned", rows)
    document.add("rig", _table(tables["rig"]))
    return tomlkit.dumps(document)


def parse_calibration(text: str, name: str = "the calibration") -> Calibration:
    """A calibration out of TOML text. Raises BadInput in a sentence."""
    found = parse_toml(text, name)
    check_format(found, name, FORMAT, VERSION, "calibration")
    content = {key: value for key, value in found.items() if key not in ("format", "version")}
    try:
        calibration = _ADAPTER.validate_python(content)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        key = ".".join(str(part) for part in first["loc"])
        raise BadInput(f"{name}: {key}: {first['msg']}; found was {first['input']!r:.60}.") from None
    wrong = _out_of_bounds(calibration)
    if wrong is not None:
        raise BadInput(f"{name}: {wrong} is out of all bounds: the file was changed by hand, or is damaged.")
    for key, said in (("created", calibration.created), ("ranked_as", calibration.ranked_as)):
        if said is not None and not _is_instant(said):
            raise BadInput(f"{name}: {key} is {said!r:.60}; a date and time with zone was expected.")
    return calibration


def _out_of_bounds(calibration: Calibration) -> str | None:
    """The first key whose value no calibration can have, or None."""
    bounds: list[tuple[str, float, float, float]] = [
        ("offset_s", calibration.offset_s, -MOST_S, MOST_S),
        ("jitter_s", calibration.jitter_s, 0, MOST_S),
        ("expected_keepers", calibration.expected_keepers, 0, 1),
        ("tolerance_s", calibration.tolerance_s, 0, MOST_S),
        ("shots", calibration.shots, 0, SHOTS_MOST),
        *(("interval_s", one, -MOST_S, MOST_S) for one in calibration.interval_s),
        *(("apertures", one, 0.1, 1000) for one in calibration.apertures),
    ]
    fresh = calibration.verification
    if fresh is not None:
        bounds += [
            ("verification.shots", fresh.shots, 0, SHOTS_MOST),
            ("verification.keepers", fresh.keepers, 0, fresh.shots),
            ("verification.centre_s", fresh.centre_s, -MOST_S, MOST_S),
            ("verification.jitter_s", fresh.jitter_s, 0, MOST_S),
            *(("verification.centre_interval_s", one, -MOST_S, MOST_S) for one in fresh.centre_interval_s),
            *(("verification.keepers_interval", one, 0, 1) for one in fresh.keepers_interval),
        ]
    for one in calibration.learned:
        for key in ("sync_to_open", "exposure", "travel"):
            value, u = getattr(one, f"{key}_s"), getattr(one, f"{key}_u_s")
            bounds += [(f"learned.{key}_s", value or 0.0, -MOST_S, MOST_S)]
            bounds += [(f"learned.{key}_u_s", u or 0.0, 0, MOST_S)]
    return next((key for key, value, least, most in bounds if not least <= value <= most), None)


def _is_instant(text: str) -> bool:
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return False
    # Far from the ends of the calendar: instants are counted with.
    return found.tzinfo is not None and 1900 <= found.year < 9000


def _table(values: dict[str, Any]) -> Table:
    table = tomlkit.table()
    for key, value in values.items():
        if value is not None:
            table.add(key, list(value) if isinstance(value, tuple) else value)
    return table


def _same_aperture(was: float, rig: Rig, body: int) -> bool:
    return abs(was / rig.both[body].lens.aperture - 1.0) < 0.02


_ADAPTER = TypeAdapter(Calibration)
