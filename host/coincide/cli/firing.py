"""Firing a series into a session file, for the commands that do: check list, header, progress, outcome."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from coincide.cli.terminal.show import aside

if TYPE_CHECKING:
    from coincide.box.cable.client import BoxClient
    from coincide.box.plans import SeriesOutcome
    from coincide.cli.terminal.enter import EnterKey
    from coincide.rig.model import Rig
    from coincide.session.file import SessionWriter
    from coincide.session.model import Floats, Header, Session


@dataclass(frozen=True, slots=True)
class Firing:
    """What is to be fired: how many pairs, with which signed offset (positive holds A back), named how."""

    purpose: str
    pairs: int
    offset_s: float = 0.0
    preset: str | None = None
    interval_s: float | None = None
    confirmed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Fired:
    """The session file and how the series ended."""

    path: Path
    outcome: SeriesOutcome


def confirm_checklist(rig: Rig, *, simulated: bool, confirmed: bool) -> tuple[str, ...]:
    """Show the check list and have it confirmed; the items confirmed. Aborts when the person says no.

    Nobody is asked about invented bodies, nor where --yes was given.
    """
    from coincide.rig.checklist import checklist

    items = checklist(rig)
    if simulated:
        return ()
    aside("Before the series, make sure of each:")
    for item in items:
        aside(f"  - {item}")
    if not confirmed:
        click.confirm("All done?", abort=True, err=True)
    return items


def session_path(rig_path: Path, rig: Rig, purpose: str) -> Path:
    """A new file in `sessions` beside the rig, named by time, pair of shutter times and purpose."""
    from coincide.cli.terminal.reporting import make_folder

    folder = rig_path.parent / "sessions"
    make_folder(folder)
    stamp = datetime.now().astimezone().strftime("%Y%m%d-%H%M%S")
    stem = f"{stamp}-{exposures_in_name(rig)}-{purpose}"
    path = folder / f"{stem}.jsonl"
    again = 2
    while path.exists():
        path = folder / f"{stem}-{again}.jsonl"
        again += 1
    return path


def exposures_in_name(rig: Rig) -> str:
    """The pair of shutter times as it stands in file names: '1-60+1-30'."""
    return "+".join(re.sub(r"[^0-9A-Za-z.]+", "-", text) for text in rig.exposures)


def opened_session(path: Path, header: Header) -> tuple[SessionWriter, Session | None]:
    """A new session file, or one that exists gone on with; then what it held before, too."""
    from coincide.session.file import SessionWriter, read_session

    if not path.exists():
        return SessionWriter(path, header), None
    return SessionWriter.resume(path, header), read_session(path)


def prompter(client: BoxClient, tell: Callable[[str], None]) -> Callable[[str], None]:
    """Who is told to wind. The invented photographer at one's side does without being told; one behind a port may
    not."""
    from coincide.box.simulated.port import SimulatedPort

    return (lambda _: None) if isinstance(client.port, SimulatedPort) else tell


@dataclass(frozen=True, slots=True)
class Bench:
    """What a command fires with: the box, the rig as read and as text, what is known beforehand, and the key that
    says 'wound'."""

    client: BoxClient
    rig: Rig
    rig_path: Path
    rig_toml: str
    known: dict[str, Any]
    enter: EnterKey


def bench(client: BoxClient, rig_path: Path) -> Bench:
    """Read the rig and what calibrations beside it and the box's last bench test have taught."""
    from coincide.cli.knowledge import knowledge
    from coincide.cli.terminal.enter import EnterKey
    from coincide.rig.file import parse_rig, read_text

    rig_toml = read_text(rig_path, "rig")
    rig = parse_rig(rig_toml, str(rig_path))
    return Bench(client, rig, rig_path, rig_toml, knowledge(rig, rig_path, client.identity.uid), EnterKey())


def fire(bench: Bench, path: Path, firing: Firing, enough: Callable[[Floats], bool] | None = None) -> Fired:
    """Fire the series into a new file, or go on with one that exists, showing how it goes.

    `enough` is given the skews so far after each pair and may end the series before its last.
    """
    from coincide.box.conduct import run_series
    from coincide.box.plans import SeriesPlan, offset_plan
    from coincide.cli.terminal.live import LiveView
    from coincide.rig.plan import rig_plan

    client, rig = bench.client, bench.rig
    plan = SeriesPlan(
        pairs=firing.pairs,
        plan=offset_plan(firing.offset_s, client.identity, rig_plan(rig)),
        interval_s=rig.release.interval_s if firing.interval_s is None else firing.interval_s,
        manual_wind=any(body.wind == "manual" for body in rig.both),
        names=(f"body A ({rig.bodies.a.name})", f"body B ({rig.bodies.b.name})"),
        senses=senses(rig),
    )
    header = session_header(bench, firing, plan.interval_s)
    writer, earlier = opened_session(path, header)
    with writer, LiveView(header, rig, firing.pairs, earlier=earlier) as view:
        if writer.found is not None:
            view.note(writer.found)
        outcome = run_series(
            client,
            writer,
            plan,
            view.take,
            wound=bench.enter.pressed,
            on_note=view.note,
            on_prompt=prompter(client, view.prompt),
            enough=lambda: enough is not None and enough(view.skew_s),
        )
    return Fired(path, outcome)


def session_header(bench: Bench, firing: Firing, interval_s: float | None) -> Header:
    """The first line of the session: what was fired, with which rig, by which box."""
    from coincide.session.model import Header

    return Header(
        created=datetime.now(UTC).isoformat(timespec="milliseconds"),
        purpose=firing.purpose,
        tick_hz=bench.client.identity.tick_hz,
        channels=bench.client.identity.channels,
        rig_toml=bench.rig_toml,
        box=bench.client.identity.raw,
        exposures=bench.rig.exposures,
        preset=firing.preset,
        interval_s=interval_s,
        confirmed=firing.confirmed,
        known=bench.known,
    )


def senses(rig: Rig) -> tuple[bool, bool]:
    """Whether a body has anything that can answer: a gate sensor, or an X contact at a speed that has one."""
    from coincide.rig.parts import FocalPlane

    found = []
    for body in rig.both:
        gate = any(sensor is not None for sensor in body.sensors.gates)
        shutter = body.shutter
        suppressed = isinstance(shutter, FocalPlane) and shutter.above_sync_speed(shutter.exposure)
        found.append(gate or (body.sync != "none" and not suppressed))
    return (found[0], found[1])
