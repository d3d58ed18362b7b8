"""What `coincide ghost` asks and says: the things, what is known of the frame, and the explanation."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from coincide.cli.terminal.options import Command
from coincide.cli.terminal.quantities import LENGTH, SHARE

if TYPE_CHECKING:
    from coincide.ghost.evidence import Known, Thing
    from coincide.ghost.explain import Explanation
    from coincide.ghost.held import Held
    from coincide.rig.calibration import Found
    from coincide.rig.model import Rig


def within_options(function: Command) -> Command:
    """How uncertain the things' figures are, 95 % each."""
    function = click.option(
        "--way-within",
        "way_within_deg",
        type=click.FloatRange(1, 60),
        default=15.0,
        show_default=True,
        help="Uncertainty of the ways of the --region's, in degrees.",
    )(function)
    function = click.option(
        "--away-within", type=SHARE, default=0.1, show_default=True, help="Uncertainty of the distances."
    )(function)
    function = click.option(
        "--speed-within", type=SHARE, default=0.2, show_default=True, help="Uncertainty of the speeds."
    )(function)
    return click.option(
        "--apart-within",
        "apart_within_m",
        type=LENGTH,
        help="Uncertainty (95 %, as all of these) of every --thing's APART.",
    )(function)


def things_asked(
    rig: Rig,
    things: tuple[tuple[str, str, str], ...],
    places: tuple[tuple[float, float], ...],
    scans: Path | None,
    regions: tuple[tuple[str, str, str], ...],
    held: Held | None,
    apart_u_m: float | None,
) -> list[Thing]:
    """The things that --thing and --region name. Raises a usage error where they do not fit together."""
    from coincide.ghost.scan_result import regions_of
    from coincide.ghost.things import thing_in_region, thing_of

    if len(places) > len(things):
        raise click.UsageError("There are more --at than --thing: give one place a thing, in the same order.")
    if bool(regions) != (scans is not None):
        raise click.UsageError("--scans names the file and --region what in it: give both.")
    if not things and not regions:
        raise click.UsageError("Give at least one --thing, or --scans with a --region.")
    said = [*places, *[None] * (len(things) - len(places))]
    asked = [
        thing_of(rig, k, *thing, place, apart_u_m)
        for k, (thing, place) in enumerate(zip(things, said, strict=True), 1)
    ]
    found = regions_of(scans) if scans is not None else {}
    return asked + [thing_in_region(rig, found, *region, held) for region in regions]


def known_asked(
    rig: Rig,
    found: tuple[Found, ...],
    frames: Path | None,
    frame: int | None,
    skew: str | None,
    skew_u_s: float | None,
    jitter_s: float | None,
) -> Known | None:
    """What is known of the frame's skew: given, from the frame log, or from the rig's jitter."""
    from dataclasses import replace

    from coincide.ghost.evidence import Known
    from coincide.ghost.things import known_from_frame, known_from_jitter, sync_u_s
    from coincide.session.frames import read_frames
    from coincide.units import quantity

    if (frames is None) != (frame is None):
        raise click.UsageError("--frames names the log and --frame the frame: give both.")
    if skew is not None and frames is not None:
        raise click.UsageError("The skew is given twice: keep --skew or --frames.")
    if skew is not None:
        u_s = skew_u_s if skew_u_s is not None else sync_u_s(rig, found)
        return Known(quantity(skew, "time"), u_s, own=True, source="given")
    if frames is not None and frame is not None:
        known = known_from_frame(rig, read_frames(frames), frame, found)
        return known if skew_u_s is None else replace(known, u_s=skew_u_s)
    return known_from_jitter(rig, found, jitter_s)


def show_explanation(found: Explanation, names: tuple[str, str], *, simulated: bool, as_json: bool) -> None:
    """The answer, the things and the causes that were weighed."""
    from coincide.cli.terminal.show import as_json as print_json
    from coincide.cli.terminal.show import say, table
    from coincide.cli.terminal.topics.planning import say_if_simulated
    from coincide.report.json.scans import ghost_json
    from coincide.report.words import ghost as words

    lines = words.explanation_lines(found)
    if as_json:
        print_json(ghost_json(found, lines) | {"simulated": simulated})
        return
    say_if_simulated(simulated)
    for line in lines:
        say(line)
    table(words.THING_COLUMNS, words.thing_rows(found))
    causes = words.cause_rows(found, names)
    if causes:
        table(words.CAUSE_COLUMNS, causes)
