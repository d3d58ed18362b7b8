"""What the planning commands share: their options, the calibration beside the rig, the subject asked about."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from coincide.cli.terminal.options import Command
from coincide.cli.terminal.quantities import DIRECTION, DISTANCE, JITTER, SHARE, SPEED, TURNING
from coincide.cli.terminal.show import aside, say
from coincide.errors import BadInput

if TYPE_CHECKING:
    from coincide.planning.basis import Basis
    from coincide.planning.trace import Link
    from coincide.rig.calibration import Found
    from coincide.rig.model import Rig, Subject

jitter_option = click.option(
    "--jitter",
    "jitter_s",
    type=JITTER,
    default=None,
    help="Reckon with this jitter, such as '1 ms' (a standard deviation), instead of a calibration's.",
)


from_session_option = click.option(
    "--session",
    "session",
    type=click.Path(path_type=Path),
    default=None,
    help="Rest on what this session measured (of a box, or made by 'coincide recording'), not on a calibration.",
)
keepers_option = click.option(
    "--keepers",
    "keeper_rate",
    type=SHARE,
    default="0.9",
    show_default=True,
    help="The share of pairs that is to be kept: 0.9 or '90 %'.",
)
turning_option = click.option(
    "--turning",
    "rate_rad_s",
    type=TURNING,
    default="tripod",
    show_default=True,
    help="How fast the rig turns: held, braced, tripod, or a rate such as '2 deg/s'.",
)


def subject_options(function: Command) -> Command:
    """`--subject-speed`, `--distance`, `--direction`, `--corner`: another subject than the rig's own."""
    function = click.option(
        "--corner", is_flag=True, help="In the worst corner of the frame, where the sweeps add their part."
    )(function)
    function = click.option(
        "--direction",
        type=DIRECTION,
        default=None,
        help="The way it moves: across, towards, or an angle such as '30 deg' from across towards the camera.",
    )(function)
    function = click.option(
        "--distance", "distance_m", type=DISTANCE, default=None, help="How far away, from the lens: '10 m'."
    )(function)
    return click.option(
        "--subject-speed",
        "speed_m_s",
        type=SPEED,
        default=None,
        help="How fast it moves: '15 km/h', '1.4 m/s'.",
    )(function)


def basis_beside(rig_path: Path, jitter_s: float | None = None, *, stand_in: bool = True) -> Basis:
    """The rig and the newest calibration of its pair of shutter times; unreadable files are said."""
    from coincide.planning.basis import basis_of
    from coincide.rig.file import load_rig

    return basis_of(load_rig(rig_path), found_beside(rig_path), jitter_s, stand_in=stand_in)


def found_beside(rig_path: Path) -> tuple[Found, ...]:
    """All calibrations beside the rig that can be read, newest first."""
    from coincide.rig.calibration import calibrations_beside

    found, complaints = calibrations_beside(rig_path)
    for complaint in complaints:
        aside(f"Left out: {complaint}")
    return found


def subject_asked(
    rig: Rig,
    speed_m_s: float | None,
    distance_m: float | None,
    *,
    direction: str | None = None,
    corner: bool = False,
) -> Subject | None:
    """The rig's own subject with what was asked put in; None when nothing was asked. Raises BadInput."""
    from pydantic import ValidationError

    from coincide.rig.model import Subject

    own = rig.tolerance.subject
    if speed_m_s is None and distance_m is None and direction is None and not corner:
        return None
    speed_m_s = speed_m_s if speed_m_s is not None or own is None else own.speed_m_s
    distance_m = distance_m if distance_m is not None or own is None else own.distance_m
    if speed_m_s is None or distance_m is None:
        missing = "--subject-speed" if speed_m_s is None else "--distance"
        raise BadInput(f"{missing} is needed: the rig has no [tolerance.subject] to take it from.")
    longest_m = max(body.lens.focal_length_m for body in rig.both)
    if distance_m <= longest_m:
        raise BadInput(
            f"--distance: {distance_m:g} m lies inside the focal length of {longest_m * 1e3:g} mm: nothing there "
            "makes a picture."
        )
    same = own is not None and own.speed_m_s == speed_m_s
    kind = {
        "name": own.name if own is not None and same else "a subject",
        "speed": f"{speed_m_s!r} m/s",
        "distance": f"{distance_m!r} m",
        "direction": direction or ("across" if own is None else own.direction),
        "point": "corner" if corner or direction == "towards" else "centre" if own is None else own.point,
    }
    try:
        return Subject.model_validate(kind)
    except ValidationError as refused:
        raise BadInput(refused.errors()[0]["msg"].removeprefix("Value error, ")) from None


def basis_asked(rig_path: Path, session: Path | None, jitter_s: float | None) -> Basis:
    """What was measured in `session`; without one, the newest calibration beside the rig."""
    if session is None:
        return basis_beside(rig_path, jitter_s)
    from coincide.bench.planned import basis_from_session
    from coincide.rig.file import load_rig

    return basis_from_session(load_rig(rig_path), session, jitter_s)


def say_if_simulated(simulated: bool, what: str = "a calibration") -> None:
    """The first line of whatever rests on a simulated box."""
    if simulated:
        say(f"Simulated: rests on {what} of the simulated box. Nothing of it was measured.")


def say_source(basis: Basis) -> None:
    """What must be known before the first figure: that nothing was measured, or that pairs stand apart as they are."""
    from coincide.report.words.basis import basis_line, late_line

    say_if_simulated(basis.simulated, "a calibration" if basis.pairs is None else "a session")
    if basis.pairs is not None:
        for line in (basis_line(basis), late_line(basis.pairs)):
            say(line) if line else None


def say_basis(basis: Basis) -> None:
    """What the numbers rest on, and why that may no longer hold."""
    from coincide.report.words.basis import basis_line

    if basis.pairs is None:
        say(basis_line(basis))
    for doubt in basis.doubts:
        say(f"Doubtful: {doubt} {'Calibrate' if basis.pairs is None else 'Measure'} again to be sure.")


def say_chain(chain: Iterable[Link]) -> None:
    """Where every number comes from."""
    from coincide.report.words.planning import chain_lines

    say()
    say("Where every number comes from:")
    for line in chain_lines(chain):
        say(line)
