"""The lines of a session file: what each kind of line holds, and back again.

One JSON object a line. The first is the header. `{"shot": ...}` is a pair or a watched group:
`start` is the tick of its first edge, `edges` a flat list of code, ticks since `start`, code, ticks...,
where code = 2 * (index in the header's channels) + level. `{"remark": ...}` is anything else worth keeping.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import orjson

from coincide.errors import BadInput
from coincide.session.model import FORMAT, VERSION, Header, Remark, ShotRecord

BEGINNING = b'{"format":"' + FORMAT.encode() + b'"'
PURPOSES = ("series", "verify", "watch", "ready", "zero", "plugs", "lamps")
PLAN_KEYS = ("delay_a_ns", "delay_b_ns", "lead_ns", "closure_ns", "window_ns")
SLOWEST_TICK_HZ, FASTEST_TICK_HZ = 1_000, 10**12
OPTIONS = orjson.OPT_APPEND_NEWLINE | orjson.OPT_NON_STR_KEYS | orjson.OPT_SERIALIZE_NUMPY


def header_line(header: Header) -> bytes:
    """The first line of a file, newline and all."""
    return orjson.dumps(
        {
            "format": FORMAT,
            "version": VERSION,
            "created": header.created,
            "purpose": header.purpose,
            "tick_hz": header.tick_hz,
            "channels": list(header.channels),
            "exposures": list(header.exposures),
            "preset": header.preset,
            "interval_s": header.interval_s,
            "confirmed": list(header.confirmed),
            "known": header.known,
            "box": header.box,
            "rig_toml": header.rig_toml,
        },
        option=OPTIONS,
    )


def shot_line(record: ShotRecord) -> bytes:
    """A pair as a line. Raises ValueError where the three columns are of unequal length."""
    start = record.tick[0] if record.tick else 0
    edges: list[int] = []
    for channel, level, tick in zip(record.channel, record.level, record.tick, strict=True):
        edges += (2 * channel + level, tick - start)
    plan = None if record.plan is None else {key: getattr(record.plan, key) for key in PLAN_KEYS}
    return orjson.dumps(
        {
            "shot": record.shot,
            "at": record.at,
            "plan": plan,
            "lost": record.lost,
            "start": start,
            "edges": edges,
        },
        option=OPTIONS,
    )


def remark_line(remark: Remark) -> bytes:
    """A remark as a line."""
    return orjson.dumps(
        {"remark": remark.kind, "at": remark.at, "say": remark.say, "detail": remark.detail},
        option=OPTIONS,
        default=str,
    )


def remark_from(line: Mapping[str, Any]) -> Remark:
    """A remark out of its line; a detail that is no table is kept under 'value'."""
    detail = line.get("detail", {})
    if not isinstance(detail, dict):
        detail = {"value": detail}
    return Remark(str(line.get("at", "")), str(line["remark"]), str(line.get("say", "")), detail)


def header_from(line: bytes, name: str) -> Header:
    """The header out of the first line of file `name`. Raises BadInput in one sentence."""
    try:
        found = orjson.loads(line)
    except orjson.JSONDecodeError:
        if line.startswith(BEGINNING):
            say = f"{name} breaks off inside its first line: nothing measured is in it"
        elif b"coincide-rig" in line or b"coincide-calibration" in line or name.endswith(".toml"):
            kind = "calibration" if b"coincide-calibration" in line else "rig"
            say = (
                f"{name} is a {kind} file, and no session: sessions end in .jsonl and lie in the folder "
                "'sessions' beside the rig"
            )
        else:
            say = f"{name} is not a session file of coincide: its first line is no header"
        raise BadInput(say + ".") from None
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        raise BadInput(f"{name} is not a session file of coincide: its first line is no header.")
    version = found.get("version")
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise BadInput(f"{name}: the header's 'version' is {version!r}; a whole number from 1 was expected.")
    if version > VERSION:
        raise BadInput(
            f"{name} was written by a later coincide (session version {version}; this one reads up to "
            f"{VERSION}): update coincide to read it."
        )
    return _checked_header(found, name)


def _checked_header(found: dict[str, Any], name: str) -> Header:
    def refuse(key: str, expected: str) -> BadInput:
        got = "missing" if key not in found else f"{found[key]!r:.60}"
        return BadInput(f"{name}: the header's '{key}' is {got}; {expected} was expected.")

    for key in ("created", "rig_toml"):
        if not isinstance(found.get(key), str):
            raise refuse(key, "text")
    if found.get("purpose") not in PURPOSES:
        raise refuse("purpose", "one of " + ", ".join(PURPOSES))
    tick_hz = found.get("tick_hz")
    if not isinstance(tick_hz, int) or not SLOWEST_TICK_HZ <= tick_hz <= FASTEST_TICK_HZ:
        raise refuse("tick_hz", "a whole number of ticks per second")
    channels, exposures = _texts(found.get("channels")), _texts(found.get("exposures"))
    if not channels or len(set(channels)) != len(channels):
        raise refuse("channels", "a list of different channel names")
    if exposures is None or len(exposures) != 2:
        raise refuse("exposures", "the two marked shutter times, such as ['1/60', '1/125'],")
    box = found.get("box")
    if not isinstance(box, dict) or not isinstance(box.get("board", {}), dict):
        raise refuse("box", "the box's identity")
    preset, interval_s, confirmed = (
        found.get("preset"),
        found.get("interval_s"),
        _texts(found.get("confirmed", [])),
    )
    if preset is not None and not isinstance(preset, str):
        raise refuse("preset", "a name or null")
    if interval_s is not None and (isinstance(interval_s, bool) or not isinstance(interval_s, int | float)):
        raise refuse("interval_s", "seconds or null")
    if confirmed is None:
        raise refuse("confirmed", "a list of texts")
    if not isinstance(found.get("known", {}), dict):
        raise refuse("known", "a table")
    return Header(
        created=found["created"],
        purpose=found["purpose"],
        tick_hz=tick_hz,
        channels=tuple(channels),
        rig_toml=found["rig_toml"],
        box=found["box"],
        exposures=(exposures[0], exposures[1]),
        preset=preset,
        interval_s=None if interval_s is None else float(interval_s),
        confirmed=tuple(confirmed),
        known=found.get("known", {}),
    )


def _texts(value: object) -> list[str] | None:
    """The value as a list of texts, or None when it is none."""
    if isinstance(value, list) and all(isinstance(item, str) for item in value):
        return value
    return None
