"""`coincide wiring draw`, `export` and `layout`: drawings, nets and boards, as files."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from coincide.cli.terminal import show
from coincide.cli.terminal.options import folder_option, json_option
from coincide.cli.terminal.topics.circuits import chosen_build, circuit_options, wiring_json
from coincide.cli.terminal.topics.wiring_words import layout_lines
from coincide.report.words.numbers import count


@click.command("draw")
@circuit_options(usual=False)
@click.option(
    "--body", type=click.Choice(["A", "B"], case_sensitive=False), default="A", help="Whose circuits."
)
@folder_option("Folder for the SVG files; made if it is not there.", required=True)
@json_option
def draw(folder: Path, body: str, as_json: bool, **chosen: str | None) -> None:
    """Draw the schematics into a folder, one SVG a circuit.

    Every circuit there is, of body A or with '--body B' of body B; with circuits named only those of that build, both
    bodies.

    \b
    Example:
      coincide wiring draw --to schematics
      coincide wiring draw --to mine --sync-a wetted --release-b solenoid
    """
    from coincide_wiring.draw.schematics import sheets_to_draw, write

    build = chosen_build(chosen) if any(chosen.values()) else None
    written = write(folder, sheets_to_draw(build, body.upper()))
    if as_json:
        wiring_json("-draw", {"written": written})
        return
    _say_written(written, "drawing", folder)


@click.command("export")
@circuit_options(usual=True)
@folder_option("Folder for the files; made if it is not there.", required=True)
@json_option
def export(folder: Path, as_json: bool, **chosen: str) -> None:
    """Parts and nets of a build in open formats, for other programs.

    A netlist as KiCad reads it, a SPICE deck a circuit (stimuli are yours to add), parts and nets as CSV.

    \b
    Example:
      coincide wiring export --to nets --sync-a wetted
    """
    from coincide_wiring.export.files import write

    written = write(chosen_build(chosen), folder)
    if as_json:
        wiring_json("-export", {"written": written})
        return
    _say_written(written, "file", folder)


@click.command("layout")
@circuit_options(usual=True)
@click.option("--board", help="Only this one, as 'release_a' or 'gate_load_b2'.")
@folder_option("Folder for the PDF files; made if it is not there.", required=True)
@json_option
def layout(folder: Path, board: str | None, as_json: bool, **chosen: str) -> None:
    """Boards to solder and the enclosure's walls, to scale, one page of A4 each.

    Made from the netlist for pad boards (2.54 mm, one pad a hole) and checked against it by their copper. Body B's
    boards are body A's with B in every name; name one with '--board' to have it drawn.

    \b
    Example:
      coincide wiring layout --to boards
      coincide wiring layout --to boards --board sync_high_voltage_b --sync-b high-voltage
    """
    from coincide_wiring.layout.files import write

    written = write(chosen_build(chosen), folder, board)
    if as_json:
        wiring_json("-layout", {"boards": written})
        return
    for text in layout_lines(written):
        show.say(text)


def _say_written(paths: Sequence[Path], what: str, folder: Path) -> None:
    """How many there are and where, then each by its path."""
    show.say(f"Wrote {count(len(paths), what)} into {folder}.")
    for path in paths:
        show.say(f"  {path}")
