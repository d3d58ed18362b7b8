"""`coincide demo`: the whole job on a simulated rig."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import click

from coincide.cli.terminal.options import seed_option


@click.command("demo")
@click.option(
    "--to",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("coincide-demo"),
    show_default=True,
    help="Folder for everything it writes; a number is added when it exists.",
)
@seed_option
def command(folder: Path, seed: int) -> None:
    """The whole job on a simulated rig: measure, set, verify, keep, draw.

    Nothing is connected and nothing real is measured: two invented bodies, Lapwing and Bittern, on an
    invented rig at Ennerby Fen, simulated down to the firmware of the box.

    Example: coincide demo --to /tmp/fen
    """
    from coincide.bench.calibration import calibrate
    from coincide.bench.opening.box import Where, opened_box
    from coincide.cli.terminal.person import AtTerminal
    from coincide.cli.terminal.show import say
    from coincide.cli.terminal.topics.results import show_calibrated
    from coincide.report.files import write_report
    from coincide.report.page.planning import subject_lines
    from coincide.rig.file import load_rig
    from coincide.rig.new import write_new

    say("A demonstration: rig, bodies and place are invented. Two cameras look through one beam splitter at")
    say("Ennerby Fen, Lapwing (A) with colour film, Bittern (B) with infrared film behind a dark filter.")
    say()
    rig_path = write_new(_fresh(folder) / "rig.toml")
    person = AtTerminal()
    with opened_box(load_rig(rig_path), Where(seed=seed, simulated=True), person) as client:
        done = calibrate(client, rig_path, (40, 30), (), person)
    show_calibrated(done, as_json=False)
    assert done.analysis is not None  # the invented bodies answer
    fresh = None if done.fresh is None else done.fresh.path
    written = write_report(done.analysis, done.measured.path, done.fresh_analysis, rig_path.parent / "report")
    say()
    for line in subject_lines(done.analysis.measured.rig, done.analysis.suggestion):
        say(line)
    say("The page shows him on both films, before and with the offset.")
    say()
    say("Wrote:")
    sessions = [done.measured.path, *([fresh] if fresh else [])]
    for path in (rig_path, *sessions, *([done.kept] if done.kept else []), *written):
        say(f"  {path}")
    say(f"Open {written[-1]} in a browser. Next: '{_called()} rig new' for your own rig.")


def _called() -> str:
    """How this program is started from here: its name, or where it lies as long as no environment is active."""
    return "coincide" if shutil.which("coincide") else sys.argv[0]


def _fresh(folder: Path) -> Path:
    """The folder, or the same with a number when it is there already; made."""
    chosen, number = folder, 2
    while chosen.exists():
        chosen = folder.with_name(f"{folder.name}-{number}")
        number += 1
    chosen.mkdir(parents=True)
    return chosen
