"""Firing a series into a session file: check list, header, progress, outcome."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coincide.bench.opening.knowledge import knowledge
from coincide.bench.person import Declined, PairKept, Person, Question, SeriesBegun, SeriesOver, ToDo
from coincide.box.conduct import run_series
from coincide.box.plans import SeriesOutcome, SeriesPlan, offset_plan
from coincide.durable import make_folder
from coincide.rig.calibration import kept_in, name_in_files
from coincide.rig.checklist import checklist
from coincide.rig.file import parse_rig, read_text
from coincide.rig.parts import FocalPlane
from coincide.rig.plan import rig_plan
from coincide.session.file import SessionWriter, read_session
from coincide.session.model import Header, ShotRecord
from coincide.timing.running import RunningSeries

if TYPE_CHECKING:
    from coincide.box.cable.client import BoxClient
    from coincide.rig.model import Rig
    from coincide.session.model import Session


@dataclass(frozen=True, slots=True)
class Firing:
    """What is to be fired: how many pairs, with which signed offset (positive holds A back), named how.

    more_lead_s: how much longer than the rig says half-press leads.
    """

    purpose: str
    pairs: int
    offset_s: float = 0.0
    preset: str | None = None
    interval_s: float | None = None
    more_lead_s: float = 0.0
    confirmed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Fired:
    """The session file, how the series ended, and whether a simulated box fired it."""

    path: Path
    outcome: SeriesOutcome
    simulated: bool


def confirm_checklist(rig: Rig, person: Person, *, simulated: bool, confirmed: bool) -> tuple[str, ...]:
    """Show the check list and have it confirmed; the items confirmed. Raises Declined when the person says no.

    Nobody is asked about invented bodies, nor where it was `confirmed` beforehand.
    """
    items = checklist(rig)
    if simulated:
        return ()
    person.tell("Before the series, make sure of each:")
    for item in items:
        person.tell(f"  - {item}")
    if not confirmed and not person.confirm(Question("All done?")):
        raise Declined
    return items


def session_path(client: BoxClient, rig_path: Path, rig: Rig, purpose: str) -> Path:
    """A new file in `sessions` beside the rig, named by time, pair of shutter times and purpose; what a simulated box
    makes goes to `simulated/sessions`."""
    return session_paths(client, rig_path, rig, (purpose,))[0]


def session_paths(client: BoxClient, rig_path: Path, rig: Rig, purposes: tuple[str, ...]) -> tuple[Path, ...]:
    """New files of one run, all under one number: another run that began in the same second has its own, though not
    all of its files are there yet."""
    folder = kept_in(rig_path, simulated=client.identity.simulated) / "sessions"
    make_folder(folder)
    stamp = datetime.now().astimezone().strftime("%Y%m%d-%H%M%S")
    stem = f"{stamp}-{name_in_files(rig.exposures)}"
    again = 1
    while True:
        number = "" if again == 1 else f"-{again}"
        paths = tuple(folder / f"{stem}-{purpose}{number}.jsonl" for purpose in purposes)
        if not any(path.exists() for path in paths):
            return paths
        again += 1


def opened_session(path: Path, header: Header) -> tuple[SessionWriter, Session | None]:
    """A new session file, or one that exists gone on with; then what it held before, too."""
    if not path.exists():
        return SessionWriter(path, header), None
    return SessionWriter.resume(path, header), read_session(path)


@dataclass(frozen=True, slots=True)
class Bench:
    """What is fired with: the box, the rig as read and as text, what is known beforehand, and the person."""

    client: BoxClient
    rig: Rig
    rig_path: Path
    rig_toml: str
    known: dict[str, Any]
    person: Person

    def ask_to_wind(self, sentence: str) -> None:
        """Tell the person. The invented photographer at one's side winds without being told; one behind a port may
        not."""
        from coincide.box.simulated.port import SimulatedPort

        if not isinstance(self.client.port, SimulatedPort):
            self.person.progress(ToDo(sentence))


def bench(client: BoxClient, rig_path: Path, person: Person) -> Bench:
    """Read the rig and what calibrations beside it and the box's last bench test have taught."""
    rig_toml = read_text(rig_path, "rig")
    rig = parse_rig(rig_toml, str(rig_path))
    known = knowledge(rig, rig_path, client.identity, person)
    return Bench(client, rig, rig_path, rig_toml, known, person)


def fire(
    bench: Bench, path: Path, firing: Firing, enough: Callable[[RunningSeries], bool] | None = None
) -> Fired:
    """Fire the series into a new file, or go on with one that exists, telling how it goes.

    `enough` is asked after each pair, of the series so far, and may end it before its last.
    """
    client, rig, person = bench.client, bench.rig, bench.person
    plan = series_plan(bench, firing)
    header = session_header(bench, firing, plan.interval_s)
    writer, earlier = opened_session(path, header)
    running = RunningSeries(header, earlier)

    def kept(record: ShotRecord) -> None:
        person.progress(PairKept(record.shot, running.take(record)))

    with writer:
        person.progress(SeriesBegun(rig, firing.pairs, running))
        try:
            if writer.found is not None:
                person.tell(writer.found)
            outcome = run_series(
                client,
                writer,
                plan,
                kept,
                wound=person.wound,
                stop=person.stop,
                on_note=person.tell,
                on_prompt=bench.ask_to_wind,
                enough=lambda: enough is not None and enough(running),
            )
        finally:
            person.progress(SeriesOver())
    return Fired(path, outcome, client.identity.simulated)


def series_plan(bench: Bench, firing: Firing) -> SeriesPlan:
    """The series as the box conducts it."""
    rig = bench.rig
    base = rig_plan(rig)
    base = replace(base, lead_ns=base.lead_ns + round(firing.more_lead_s * 1e9))
    return SeriesPlan(
        pairs=firing.pairs,
        plan=offset_plan(firing.offset_s, bench.client.identity, base),
        interval_s=rig.release.interval_s if firing.interval_s is None else firing.interval_s,
        manual_wind=any(body.wind == "manual" for body in rig.both),
        names=(f"body A ({rig.bodies.a.name})", f"body B ({rig.bodies.b.name})"),
        senses=senses(rig),
    )


def session_header(bench: Bench, firing: Firing, interval_s: float | None) -> Header:
    """The first line of the session: what was fired, with which rig, by which box."""
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
    found = []
    for body in rig.both:
        gate = any(sensor is not None for sensor in body.sensors.gates)
        shutter = body.shutter
        suppressed = isinstance(shutter, FocalPlane) and shutter.above_sync_speed(shutter.exposure)
        found.append(gate or (body.sync != "none" and not suppressed))
    return (found[0], found[1])
