"""`coincide exposure`: one meter reading to both bodies' aperture and shutter."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from coincide.cli.terminal.options import explain_option, json_option, rig_option
from coincide.cli.terminal.quantities import APERTURE

if TYPE_CHECKING:
    from coincide.planning.exposure.pairing import Pairing
    from coincide.rig.model import Rig


@click.command("exposure")
@click.argument("reading", nargs=-1, required=True)
@click.option(
    "--aperture",
    type=APERTURE,
    default=None,
    help="For both bodies, such as 'f/8'. Default: each as it is set in the rig.",
)
@click.option("--aperture-a", type=APERTURE, default=None, help="For body A alone.")
@click.option("--aperture-b", type=APERTURE, default=None, help="For body B alone.")
@rig_option
@explain_option
@json_option
def command(
    reading: tuple[str, ...],
    aperture: float | None,
    aperture_a: float | None,
    aperture_b: float | None,
    rig_path: Path,
    explain: bool,
    as_json: bool,
) -> None:
    """One meter reading to both bodies' aperture and shutter, and the preset that pair needs.

    READING is what a hand meter says: 'EV 12' (at ISO 100), or a time, an aperture and a film speed. The
    bodies keep the apertures they have in the rig, unless told otherwise. Every calibrated pair is told
    with the light it is right for. The exit code is 1 when a body has no time on its dial within the
    latitude of its film.

    Example: coincide exposure "EV 12", or: coincide exposure 1/250 f/8 ISO 400 --aperture-b f/4
    """
    from coincide.cli.terminal.show import as_json as print_json
    from coincide.cli.terminal.topics.planning import found_beside, say_if_simulated
    from coincide.planning.exposure.pairing import pair_exposures
    from coincide.report.json.planning import exposure_json
    from coincide.report.words.exposure import can_be_set
    from coincide.rig.file import load_rig
    from coincide.rig.optics.stops import meter_reading

    rig, read = load_rig(rig_path), meter_reading(" ".join(reading))
    found = found_beside(rig_path)
    simulated = any(one.simulated for one in found)
    pairing = pair_exposures(
        rig, read, apertures=(aperture_a or aperture, aperture_b or aperture), found=found
    )
    if as_json:
        print_json(exposure_json(rig, pairing, simulated=simulated))
    else:
        say_if_simulated(simulated)
        _show(rig, pairing, explain=explain)
    if not can_be_set(pairing):
        click.get_current_context().exit(1)


def _show(rig: Rig, pairing: Pairing, *, explain: bool) -> None:
    from coincide.cli.terminal.show import say, table
    from coincide.cli.terminal.topics.planning import say_chain
    from coincide.planning.exposure.pairing import pairing_chain
    from coincide.report.words.exposure import (
        answer_line,
        exposure_lines,
        exposure_rows,
        standing_line,
    )
    from coincide.report.words.series import who

    say(answer_line(rig, pairing))
    if not pairing.as_it_stands:
        say(standing_line(pairing))
    for line in exposure_lines(rig, pairing):
        say(line)
    for warning in pairing.warnings:
        say(f"Note: {warning}")
    table(("", *who(rig)), exposure_rows(pairing), f"Metered {pairing.reading.said}")
    if explain:
        say_chain(pairing_chain(pairing))
