"""`coincide ghost`: was it timing?"""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from coincide.cli.terminal.options import json_option, rig_option
from coincide.cli.terminal.quantities import TIME
from coincide.cli.terminal.topics.ghost import within_options
from coincide.cli.terminal.topics.planning import jitter_option

if TYPE_CHECKING:
    from coincide.ghost.held import Held

FILE = click.Path(path_type=Path)


@click.command("ghost")
@click.option(
    "--thing",
    "things",
    nargs=3,
    multiple=True,
    metavar="APART SPEED AWAY",
    help="How far apart its two pictures lie on film ('120 um', '18 px'), its speed ('15 km/h', 'unknown', "
    "'still') and its distance ('12 m'). With a sign APART says which body was late: '+120 um' where B shows it "
    "further along its way, '-120 um' where A does. Again for more things.",
)
@click.option(
    "--at",
    "places",
    nargs=2,
    type=click.FloatRange(0, 1),
    multiple=True,
    metavar="X Y",
    help="Where the thing is, as fractions of the frame from the left and the top of the scene; in the order of "
    "--thing. Frame centre when left out.",
)
@click.option("--scans", type=FILE, help="What 'coincide scans --json' printed.")
@click.option(
    "--region",
    "regions",
    nargs=3,
    multiple=True,
    metavar="NUMBER SPEED AWAY",
    help="A region of those scans, its speed with its way in A's scan ('15 km/h right') and its distance.",
)
@click.option(
    "--scan-a",
    "held",
    type=click.Choice(["as the body sees it", "set right"]),
    help="How the scan of body A was held, where the rig turns or mirrors its picture and the scans do not tell.",
)
@within_options
@click.option("--frames", type=FILE, help="The frame log, as 'coincide framelog --csv' wrote it.")
@click.option("--frame", type=click.IntRange(1), help="Which frame of the roll it is (with --frames).")
@click.option(
    "--skew", "skew", metavar="TIME", help="The frame's own skew, positive when B was late: '-2.1 ms'."
)
@click.option("--skew-within", "skew_within_s", type=TIME, help="Uncertainty of that skew (95 %).")
@jitter_option
@rig_option
@json_option
def command(
    things: tuple[tuple[str, str, str], ...],
    places: tuple[tuple[float, float], ...],
    scans: Path | None,
    regions: tuple[tuple[str, str, str], ...],
    held: Held | None,
    apart_within_m: float | None,
    speed_within: float,
    away_within: float,
    way_within_deg: float,
    frames: Path | None,
    frame: int | None,
    skew: str | None,
    skew_within_s: float | None,
    jitter_s: float | None,
    rig_path: Path,
    as_json: bool,
) -> None:
    """From a ghost's size to what made it: the skew, the sweeps, unequal exposures, or none of them.

    Compared with the frame's own skew (--skew, or --frames and --frame), else with the rig's jitter. APART with
    + means that B shows the thing further along its way (B was late), with - that A does; without a sign either
    may have been. A region's speed with a way says the same; what lies across that way is not timing.

    Example: coincide ghost --thing "+52 um" "15 km/h" "12 m" --skew "4.1 ms"
    """
    from dataclasses import replace

    from coincide.cli.terminal.topics.ghost import known_asked, show_explanation, things_asked
    from coincide.cli.terminal.topics.planning import found_beside
    from coincide.ghost.explain import explain
    from coincide.ghost.verdict import COVER
    from coincide.rig.file import load_rig

    rig, found = load_rig(rig_path), found_beside(rig_path)
    apart_u_m = None if apart_within_m is None else apart_within_m / COVER
    asked = [
        replace(
            thing,
            speed_u=speed_within / COVER,
            distance_u=away_within / COVER,
            way_u_rad=math.radians(way_within_deg) / COVER,
        )
        for thing in things_asked(rig, things, places, scans, regions, held, apart_u_m)
    ]
    skew_u_s = None if skew_within_s is None else skew_within_s / COVER
    known = known_asked(rig, found, frames, frame, skew, skew_u_s, jitter_s)
    # Where the frame's own skew is given with its uncertainty no calibration is asked.
    given = skew is not None and skew_u_s is not None
    simulated = any(one.simulated for one in found) and not given
    names = (rig.bodies.a.name, rig.bodies.b.name)
    show_explanation(explain(rig, asked, known), names, simulated=simulated, as_json=as_json)
