"""The session that a recording becomes: header, pairs, what was left out, and the rig with the recording's sensors."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import tomlkit

from coincide.bench.heard import Found, Wish
from coincide.inputs import sayable
from coincide.recording import files, naming
from coincide.recording.parts import Uncertain
from coincide.rig.model import Rig
from coincide.session.file import SessionWriter
from coincide.session.model import Header, Remark, ShotRecord
from coincide.timing.budget.known import known_from, known_table

TICK_HZ = 1_000_000_000


def write(paths: list[Path], rig_toml: str, rig: Rig, wish: Wish, found: Found, out: Path) -> None:
    known = {
        "recording": {
            "source": wish.source,
            "file": sayable(", ".join(path.name for path in paths)),
            "sha256": " ".join(files.sha256(path) for path in paths),
            "named": found.account.named is not None,
            "parts": {letter: [_as_table(one) for one in each] for letter, each in found.parts.items()},
            "exposure_parts": {
                letter: [_as_table(one) for one in each] for letter, each in found.exposure_parts.items()
            },
            "detail": json.loads(json.dumps(found.extra)),
        }
    }
    now = datetime.now(UTC)
    header = Header(
        created=now.isoformat(timespec="seconds"),
        purpose="watch",
        tick_hz=TICK_HZ,
        channels=found.channels,
        rig_toml=_as_recorded(rig_toml, wish, found),
        box={"board": {"simulated": True}} if any(files.is_invented(path) for path in paths) else {},
        exposures=rig.exposures,
        known=known_table(known_from(known)),
    )
    with SessionWriter(out, header) as writer:
        for number, (_, edges) in enumerate(found.pairs, 1):
            ordered = sorted(edges, key=lambda edge: edge[2])
            writer.append(
                ShotRecord(
                    number,
                    header.created,
                    None,
                    tuple(edge[0] for edge in ordered),
                    tuple(edge[1] for edge in ordered),
                    tuple(edge[2] for edge in ordered),
                )
            )
        for sentence in found.account.sentences:
            writer.remark(Remark(header.created, "recording", sentence))
        if found.account.left_out:
            count = len(found.account.left_out)
            say = f"{count} of {found.account.bangs} bangs in the recording were left out."
            detail = {"bangs": [[round(at, 3), why] for at, why in found.account.left_out]}
            writer.remark(Remark(header.created, "left out", say, detail))


def _as_table(one: Uncertain) -> dict[str, Any]:
    return {"name": one.name, "u_s": one.u_s, "distribution": one.distribution, "remedy": one.remedy}


def _as_recorded(rig_toml: str, wish: Wish, found: Found) -> str:
    """The rig with the recording's sensors in place of its own; without known channels, with theirs for names."""
    document = tomlkit.parse(rig_toml)
    lone = {
        "delay_on": "0 us",
        "delay_off": "0 us",
        "delay_uncertainty": "0 us",
        "rise": "0 us",
        "threshold": 0.5,
    }
    for letter, name in zip("ab", (naming.LEFT_NAME, naming.RIGHT_NAME), strict=True):
        body: Any = document["bodies"][letter]
        old: Any = body.get("sensors", {})
        sensors = tomlkit.table()
        if "sync" in old and f"sync_{letter}" in found.channels:
            sensors["sync"] = old["sync"]
        for number in (1, 2):
            if f"gate_{letter}{number}" not in found.channels:
                continue
            gate = tomlkit.inline_table()
            own = old.get(f"gate_{number}", {}) if wish.source == "instrument" else {}
            gate.update({"position": wish.position, "position_uncertainty": f"{wish.position_m * 1e3:g} mm"})
            gate.update({"width": f"{wish.width_m * 1e3:g} mm", **lone})
            gate.update(
                {key: own[key] for key in ("position", "position_uncertainty", "width") if key in own}
            )
            sensors[f"gate_{number}"] = gate
        body["sensors"] = sensors
        if found.account.named is None:
            body["name"] = name
    return tomlkit.dumps(document)
