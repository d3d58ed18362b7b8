"""What a bench test found, kept as a dated TOML file, and the zero correction a later measurement takes from it.

Records lie under the user's data directory, one folder a box; none is ever overwritten. A zero check holds
only for the wiring it was made with: the record carries the wiring's digest.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import tomlkit
from platformdirs import user_data_path

from coincide.durable import write_new
from coincide.errors import BadInput
from coincide.rig.file import parse_toml, read_text
from coincide_wiring.netlist import BODIES, Build, digest, loop_digests

FORMAT = "coincide-bench"
VERSION = 1
LONGEST_LOOP_S = 1.0
_STAMP = "%Y-%m-%dT%H%M%S"
OUTCOMES = {True: "passed", False: "failed", None: "left out"}
REHEARSED = "rehearsed"  # what a simulated box answers for in the place of 'passed'; never kept


@dataclass(frozen=True, slots=True)
class Item:
    """One thing tested: `kind` is 'input', 'light', 'output', 'lamps' or 'zero'; `passed` None means left out."""

    name: str
    kind: str
    passed: bool | None
    say: str


@dataclass(frozen=True, slots=True)
class Loop:
    """Delay from an output's edge to an input's, seconds, with its standard uncertainty, over n pulses."""

    output: str
    input: str
    delay_s: float
    u_s: float
    pulses: int


@dataclass(frozen=True, slots=True)
class ZeroResult:
    """`skew_s`: how much later B's sync input answers than A's; subtract it from a measured skew. `loop_s`:
    (A, B) delay of each full-press loop; subtract it from a measured lag. Standard uncertainties beside."""

    loops: tuple[Loop, ...]
    skew_s: float
    u_skew_s: float
    loop_s: tuple[float, float]
    u_loop_s: tuple[float, float]


@dataclass(frozen=True, slots=True)
class BenchRecord:
    """One bench test: when, of which box, wired how, with what result. `circuits`: digests of the circuits that the
    pulses of the zero check passed, by name; empty in a record of an earlier version."""

    made_at: str
    box_uid: str
    firmware: str
    wiring_digest: str
    build: Build
    items: tuple[Item, ...]
    zero: ZeroResult | None
    circuits: Mapping[str, str] = field(default_factory=dict)

    @property
    def passed(self) -> bool:
        """Nothing that was tested failed, and something was tested."""
        tested = [one.passed for one in self.items if one.passed is not None]
        return bool(tested) and all(tested)


@dataclass(frozen=True, slots=True)
class ZeroCorrection:
    """The newest zero check of a box. `stale` says why it must not be used, or is None."""

    zero: ZeroResult
    made_at: str
    path: Path
    stale: str | None


def bench_folder(box_uid: str, directory: Path | None = None) -> Path:
    """Where a box's records lie; `directory` replaces the user's data directory."""
    base = user_data_path("coincide", appauthor=False) / "bench" if directory is None else directory
    return base / re.sub(r"[^A-Za-z0-9_-]", "_", box_uid)


def save_record(record: BenchRecord, directory: Path | None = None) -> Path:
    """Write a record beside the earlier ones, under a name that comes after theirs, whatever the clock says. Raises
    BadInput when it cannot be written."""
    folder = bench_folder(record.box_uid, directory)
    stem = datetime.fromisoformat(record.made_at).strftime(_STAMP)
    newest = max(folder.glob("*.toml"), key=_age, default=None)
    if newest is not None and _age(newest)[0] > stem:
        with contextlib.suppress(ValueError, OverflowError):
            stem = (datetime.strptime(_age(newest)[0], _STAMP) + timedelta(seconds=1)).strftime(_STAMP)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for count in range(1000):
            path = folder / (f"{stem}.toml" if count == 0 else f"{stem}-{count}.toml")
            try:
                write_new(path, record_text(record).encode())
            except FileExistsError:
                continue
            return path
    except OSError as failure:
        raise BadInput(f"The bench record could not be kept in {folder}: {failure.strerror}.") from failure
    raise BadInput(f"There are a thousand records of the same second in {folder}; clear some away.")


def record_table(record: BenchRecord) -> dict[str, Any]:
    """A record as plain tables and lists, in the order they stand in the file."""
    zero, build = record.zero, record.build
    table: dict[str, Any] = {
        "format": FORMAT,
        "version": VERSION,
        "made_at": record.made_at,
        "box_uid": record.box_uid,
        "firmware": record.firmware,
        "wiring": {
            "digest": record.wiring_digest,
            "sync": list(build.sync),
            "release": list(build.release),
            "gate": list(build.gate),
            **({"circuits": dict(record.circuits)} if record.circuits else {}),
        },
    }
    if zero is not None:
        table["zero"] = {
            "skew_s": zero.skew_s,
            "u_skew_s": zero.u_skew_s,
            "loop_s": list(zero.loop_s),
            "u_loop_s": list(zero.u_loop_s),
        }
        table["loops"] = [asdict(loop) for loop in zero.loops]
    table["items"] = [
        {"name": one.name, "kind": one.kind, "outcome": OUTCOMES[one.passed], "say": one.say}
        for one in record.items
    ]
    return table


def record_text(record: BenchRecord) -> str:
    """A record as TOML."""
    text = tomlkit.document()
    text.add(tomlkit.comment("Bench test of a box, by 'coincide box check'; never overwritten."))
    text.update(record_table(record))
    return tomlkit.dumps(text)


def read_record(path: Path) -> BenchRecord:
    """A record from its file. Raises BadInput that names the file when it is not one."""
    try:
        return _record_from(parse_toml(read_text(path, "bench record"), str(path)))
    except (ValueError, OverflowError, KeyError, TypeError, AttributeError, BadInput) as failure:
        raise BadInput(
            f"{path} is no bench record this version reads ({failure}); run 'coincide box check'."
        ) from None


def _record_from(text: dict[str, Any]) -> BenchRecord:
    if text["format"] != FORMAT or text["version"] != VERSION:
        raise ValueError(f"format {text['format']} {text['version']}")
    wiring = text["wiring"]
    zero = None
    if "zero" in text:
        kept = text["zero"]
        loops = tuple(
            Loop(one["output"], one["input"], float(one["delay_s"]), float(one["u_s"]), int(one["pulses"]))
            for one in text["loops"]
        )
        zero = ZeroResult(
            loops,
            float(kept["skew_s"]),
            float(kept["u_skew_s"]),
            _pair(kept["loop_s"]),
            _pair(kept["u_loop_s"]),
        )
    if zero is not None:
        _check_zero(zero)
    outcomes = {word: passed for passed, word in OUTCOMES.items()}
    return BenchRecord(
        made_at=datetime.fromisoformat(text["made_at"]).isoformat(),
        box_uid=str(text["box_uid"]),
        firmware=str(text["firmware"]),
        wiring_digest=str(wiring["digest"]),
        build=Build(*(_names(wiring[key]) for key in ("sync", "release", "gate"))),
        items=tuple(
            Item(str(one["name"]), str(one["kind"]), outcomes[one["outcome"]], str(one["say"]))
            for one in text["items"]
        ),
        zero=zero,
        circuits={str(name): str(made) for name, made in wiring.get("circuits", {}).items()},
    )


def _check_zero(zero: ZeroResult) -> None:
    """Raise ValueError for a delay or an uncertainty that no loop of wires has."""
    delays = (zero.skew_s, *zero.loop_s, *(one.delay_s for one in zero.loops))
    doubts = (zero.u_skew_s, *zero.u_loop_s, *(one.u_s for one in zero.loops))
    if not all(abs(one) <= LONGEST_LOOP_S for one in delays):
        raise ValueError(f"a delay of the zero check is no number up to {LONGEST_LOOP_S:g} s")
    if not all(0 <= one <= LONGEST_LOOP_S for one in doubts):
        raise ValueError(f"an uncertainty of the zero check is no number from 0 to {LONGEST_LOOP_S:g} s")


def _pair(values: list[float]) -> tuple[float, float]:
    one, other = values
    return float(one), float(other)


def _names(values: list[str]) -> tuple[str, str]:
    one, other = values
    return str(one), str(other)


@dataclass(frozen=True, slots=True)
class Fitted:
    """The circuits a box has, as the person last said with 'coincide box check', and when."""

    build: Build
    made_at: str


def fitted(box_uid: str, directory: Path | None = None) -> Fitted | None:
    """How a box is built, from its newest record; None when it was never on the bench of this computer."""
    for _, record in _records(box_uid, directory):
        return Fitted(record.build, record.made_at)
    return None


def zero_correction(
    box_uid: str, build: Build | None = None, directory: Path | None = None
) -> ZeroCorrection | None:
    """The newest zero check of a box, or None when there is none.

    `build` is how the box is built now, None for what the newest record says. The correction is stale when
    the loop it was measured through is no longer the one fitted: because the person fitted another circuit,
    or because this version's circuits differ. Gate sensors and what is plugged into a release socket are no
    part of that loop. Records that cannot be read are passed over.
    """
    now = build
    for path, record in _records(box_uid, directory):
        now = record.build if now is None else now
        if record.zero is not None:
            return ZeroCorrection(record.zero, record.made_at, path, _why_stale(record, now))
    return None


def _why_stale(record: BenchRecord, now: Build) -> str | None:
    """Why the zero check of a record does not hold for a box built as `now`; None when it does."""
    day = record.made_at[:10]
    drawn = loop_digests(record.build)
    if record.circuits:
        other = [name for name, made in record.circuits.items() if drawn.get(name) != made]
    else:
        other = [] if digest(record.build) == record.wiring_digest else list(drawn)
    if other:
        which = " and ".join(f"{name[:-2]} circuit of body {name[-1].upper()}" for name in other)
        return (
            f"The zero check of {day} is out of date: this version's {which} {'is' if len(other) == 1 else 'are'} not "
            "what it was made with."
        )
    if loop_digests(now) == drawn:
        return None
    changed = [
        f"body {body} had the '{before}' sync circuit then and has '{after}' now"
        for body, before, after in zip(BODIES, record.build.sync, now.sync, strict=True)
        if before != after
    ]
    return f"The zero check of {day} is out of date: {' and '.join(changed)}."


def _records(box_uid: str, directory: Path | None) -> Iterator[tuple[Path, BenchRecord]]:
    """The readable records of a box, newest first."""
    for path in sorted(bench_folder(box_uid, directory).glob("*.toml"), key=_age, reverse=True):
        try:
            yield path, read_record(path)
        except BadInput:
            continue


def _age(path: Path) -> tuple[str, int]:
    """Sorting key of a record's file name: its second, then its count."""
    stem, _, count = path.stem[10:].partition("-")
    return path.stem[:10] + stem, int(count) if count.isdigit() else 0
