"""`coincide card`: the pocket card."""

from __future__ import annotations

from pathlib import Path

import click

from coincide.cli.terminal.options import folder_option, json_option, rig_option
from coincide.cli.terminal.quantities import SHARE
from coincide.cli.terminal.topics.planning import jitter_option


@click.command("card")
@folder_option("Folder for card.pdf and card.png. Default: beside the rig.")
@click.option(
    "--keepers",
    "keeper_rate",
    type=SHARE,
    default="0.9",
    show_default=True,
    help="The share of pairs that is to be kept: 0.9 or '90 %'.",
)
@jitter_option
@rig_option
@json_option
def command(
    folder: Path | None, keeper_rate: float, jitter_s: float | None, rig_path: Path, as_json: bool
) -> None:
    """The pocket card for the camera bag: what to set, what it can photograph, what to mind.

    One leaf of A6 (105 x 148 mm), front and back, to print as it is. It rests on the newest calibration beside
    the rig of the pair of shutter times that is set in it, and says which. Exit code 1 where that no longer holds.

    Example: coincide card --to plan
    """
    from importlib.metadata import version

    from coincide.cli.terminal.show import as_json as print_json
    from coincide.cli.terminal.show import say
    from coincide.cli.terminal.topics.planning import basis_beside, found_beside, say_if_simulated
    from coincide.durable import make_folder
    from coincide.report.card.content import card_content
    from coincide.report.card.write import write_card
    from coincide.report.json.planning import card_json

    basis = basis_beside(rig_path, jitter_s, stand_in=False)
    content = card_content(basis, found_beside(rig_path), version("coincide"), keeper_rate)
    chosen = folder or rig_path.parent
    make_folder(chosen)
    written = write_card(content, chosen)
    if as_json:
        print_json(card_json(basis, content, written))
    else:
        say_if_simulated(basis.simulated)
        stale = f"Do not use it as it is. {content.warning} " if content.warning else ""
        say(f"{stale}{content.delay_label} {content.delay}, {content.delay_note}.")
        for doubt in basis.doubts:
            say(f"Doubtful: {doubt} Calibrate again: coincide calibrate")
        for path in written:
            say(f"Wrote {path}")
    if content.warning:
        click.get_current_context().exit(1)
