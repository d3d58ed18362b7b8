"""The row of lamps: photographed by both bodies, read frame by frame, worked out, kept."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from coincide.bench.firing import (
    Bench,
    Firing,
    bench,
    confirm_checklist,
    series_plan,
    session_header,
    session_path,
)
from coincide.bench.person import Person
from coincide.box.conduct import run_series
from coincide.box.lamp_row import ensure_dark, light_row
from coincide.errors import BadInput, BoxFailed
from coincide.rig.calibration import save_calibration
from coincide.rig.file import load_rig
from coincide.rig.lamp_steps import lamp_steps_s
from coincide.session.file import SessionWriter, read_session
from coincide.session.lamps import FrameRead, RowRun, frame_remark, frames_of, row_remark, rows_of
from coincide.timing.lamps.series import calibration_of, read_lamps
from coincide_firmware.app.pins import LAMPS
from coincide_wiring.cautions import cautions_for

if TYPE_CHECKING:
    from coincide.box.cable.client import BoxClient
    from coincide.box.simulated.port import SimulatedPort
    from coincide.rig.model import Rig
    from coincide.timing.lamps.series import LampAnalysis

ENTRY = re.compile(r"(?:(\d+)\s+([AB])\s+)?(?:(none)|(\d+)(?:\s*-\s*(\d+))?\s*(\?)?)", re.IGNORECASE)
LIT_FOR_S = 300.0  # long enough to wind by hand; the row goes out by itself


@dataclass(frozen=True, slots=True)
class LampFiring:
    """What is to be photographed: pairs with the fast row, its step (None: as the rig allows), how far the row's
    image may lie off the frame's centre line, the offset that is on, and whether the check list is confirmed."""

    pairs: int
    step_s: float | None
    off_line_m: float
    offset_s: float
    confirmed: bool


def fire_lamps(
    client: BoxClient, rig_path: Path, firing: LampFiring, out: Path | None, person: Person
) -> Path:
    """One pair with the slow row, then `firing.pairs` with the fast one, into a session file; its path."""
    from coincide.box.simulated.port import SimulatedPort

    rig = load_rig(rig_path)
    slow_s, fast_s = lamp_steps_s(rig, LAMPS, firing.step_s)
    simulated = client.identity.simulated
    _caution(rig, firing.pairs + 1, person, simulated=simulated)
    items = confirm_checklist(rig, person, simulated=simulated, confirmed=firing.confirmed)
    held = bench(client, rig_path, person)
    each = Firing("lamps", firing.pairs + 1, firing.offset_s, confirmed=items)
    header = session_header(held, each, rig.release.interval_s)
    path = out or session_path(client, rig_path, rig, "lamps")
    with SessionWriter(path, header) as writer:
        try:
            for number in range(1, firing.pairs + 2):
                _one_pair(held, writer, number, slow_s if number == 1 else fast_s, firing)
        finally:
            ensure_dark(client)
        if isinstance(client.port, SimulatedPort):
            _develop(client.port, writer)
    return path


def _caution(rig: Rig, frames: int, person: Person, *, simulated: bool) -> None:
    """What has to be known before a lamp is lit, where the hand is about to act."""
    names = " and ".join(body.name for body in rig.both)
    person.tell(f"This spends {frames} frames each in {names}.")
    if simulated:
        return
    for caution in cautions_for("lamp"):
        person.tell(f"Caution: {caution.say}")
    person.tell(
        "Lay the row through the middle of both frames, along the edge of the curtain (across its run), sharp in both, "
        "in a dim room. Lamp 1 is the one that lights first."
    )


def _one_pair(held: Bench, writer: SessionWriter, number: int, step_s: float, firing: LampFiring) -> None:
    """Light the row, fire pair `number`, keep how the row ran."""
    client, person = held.client, held.person
    plan = replace(series_plan(held, Firing("lamps", number, firing.offset_s)), wound_patience_s=LIT_FOR_S)
    if number > 1 and not plan.manual_wind:
        client.port.wait(plan.interval_s)  # bodies rest as in the field
    lit = light_row(client, step_s, LIT_FOR_S)
    run = RowRun(number, lit.lamps, lit.step_ticks, lit.start_tick, firing.off_line_m)
    writer.remark(row_remark(run, client.identity.tick_hz))
    outcome = run_series(
        client,
        writer,
        plan,
        wound=person.wound,
        stop=person.stop,
        on_note=person.tell,
        on_prompt=held.ask_to_wind,
    )
    if not outcome.complete:
        raise BoxFailed(
            f"It stopped at pair {number} ({outcome.ending}); what was photographed before is kept in {writer.path}."
        )
    person.tell(f"pair {number}: {step_s * 1e3:g} ms a lamp")


def _develop(port: SimulatedPort, writer: SessionWriter) -> None:
    """The invented frames, read by an invented person."""
    from coincide.box.simulated.bodies.photographs import photographs

    for number, truth in enumerate(port.truth, 1):
        for frame in photographs(port.world, truth):
            first, last = frame.lamps or (None, None)
            writer.remark(frame_remark(FrameRead(number, frame.body, first, last)))


def take_down(path: Path, entries: tuple[str, ...], person: Person) -> None:
    """Write readings into the session: those given, or those asked for frame by frame."""
    session = read_session(path)
    rows = rows_of(session)
    if not rows:
        raise BadInput(f"{path} holds no frames of the lamp row: take some with 'coincide lamps fire'.")
    reads = [_understood(entry, None) for entry in entries]
    if not entries:
        rig = read_lamps(session).rig
        done = frames_of(session)
        wanted = [(shot, body) for shot in rows for body in (0, 1) if (shot, body) not in done]
        reads = [one for one in (_asked(shot, body, rig, person) for shot, body in wanted) if one is not None]
    for one in reads:
        _possible(one, rows, path)
    with SessionWriter.resume(path) as writer:
        for one in reads:
            writer.remark(frame_remark(one))


def _asked(shot: int, body: int, rig: Rig, person: Person) -> FrameRead | None:
    """Ask for one frame until the answer is understood; None for one that is to be read later."""
    if not person.there:
        raise BadInput("There is nobody to ask: give each frame with --frame, such as --frame '2 A 5-12'.")
    question = f"Pair {shot}, {rig.both[body].name} ({'AB'[body]}): lamps lit, such as 5-12, or 'later'"
    while True:
        answer = person.ask(question)
        if answer.strip().lower() == "later":
            return None
        try:
            return _understood(answer, (shot, body))
        except BadInput as refused:
            person.tell(str(refused))


def _understood(entry: str, frame: tuple[int, int] | None) -> FrameRead:
    """'2 A 5-12?' or, where the frame is known, '5-12?'."""
    found = ENTRY.fullmatch(entry.strip())
    if found is None or (frame is None and found[1] is None):
        raise BadInput(
            f"'{entry}' is not understood: write pair, body, first and last lamp, such as '2 A 5-12', or '2 A none'."
        )
    shot, body = (
        frame if found[1] is None and frame is not None else (int(found[1]), "AB".index(found[2].upper()))
    )
    if found[3]:
        return FrameRead(shot, body, None, None)
    first = int(found[4])
    return FrameRead(shot, body, first, int(found[5] or first), 1.0 if found[6] else 0.0)


def _possible(one: FrameRead, rows: dict[int, RowRun], path: Path) -> None:
    """Raises BadInput for a pair that was not fired or a lamp that is not there."""
    run = rows.get(one.shot)
    if run is None:
        raise BadInput(f"{path} has no pair {one.shot}: it holds pairs {', '.join(map(str, rows))}.")
    for lamp in (one.first, one.last):
        if lamp is not None and not 1 <= lamp <= run.lamps:
            raise BadInput(
                f"Pair {one.shot}, body {'AB'[one.body]}: the row has lamps 1 to {run.lamps}, not {lamp}. Count again "
                "from the end that lights first."
            )


@dataclass(frozen=True, slots=True)
class LampsRead:
    """What the frames of a session come to, and the calibration it was kept as, or None."""

    found: LampAnalysis
    path: Path
    simulated: bool
    kept: Path | None = None


def read_row(path: Path, kept: Path | None = None) -> LampsRead:
    """Read and analyse, from the file alone."""
    return LampsRead(analyse_lamps(path), path, read_session(path).header.simulated, kept)


def analyse_lamps(path: Path) -> LampAnalysis:
    """Read and analyse, from the file alone."""
    session = read_session(path)
    if session.header.purpose != "lamps":
        raise BadInput(
            f"{path} holds no frames of the lamp row: 'coincide report {path}' shows what it holds."
        )
    return read_lamps(session)


def keep_lamps(path: Path, rig_path: Path) -> Path:
    """What the frames showed as a calibration beside the rig. Raises BadInput where they are too few."""
    load_rig(rig_path)
    found, header = analyse_lamps(path), read_session(path).header
    made = datetime.now(UTC).isoformat(timespec="seconds")
    box = str(header.box.get("board", {}).get("uid", ""))
    kept = calibration_of(found, created=made, session=path.name, box=box)
    return save_calibration(rig_path, replace(kept, simulated=header.simulated))
