"""The command line: one file a command; each parses, calls the library and prints.

Exit codes: 0 fine, 1 the answer is 'no' (not ready, out of tolerance), 2 wrong use or bad input,
3 the box failed.
"""

from __future__ import annotations

import io
import sys

import click

from coincide.cli.terminal import process
from coincide.cli.terminal.again import Given
from coincide.cli.terminal.blanks import say_what_wants_quotes
from coincide.cli.terminal.lazy import LazyGroup, ReaderLeft
from coincide.cli.terminal.show import aside
from coincide.errors import CoincideError, cut

COMMANDS = {
    "demo": ("coincide.cli.demo", "The whole job on a simulated rig: measure, set, verify, draw."),
    "rig": ("coincide.cli.rig", "Describe your rig in a file, show it, check it."),
    "box": ("coincide.cli.box", "Find, install, check, simulate and set the box."),
    "series": ("coincide.cli.series", "Fire a series of pairs and measure it."),
    "watch": ("coincide.cli.watch", "Listen only: measure pairs fired by a mechanical twin cable."),
    "recording": (
        "coincide.cli.recording",
        "Without the box: measure from a stereo sound recording or an instrument's capture.",
    ),
    "calibrate": ("coincide.cli.calibrate", "Measure, suggest the offset, set it, verify it, keep it."),
    "lamps": ("coincide.cli.lamps", "For bodies without sync or gate: photograph a row of lamps."),
    "ready": ("coincide.cli.ready", "Before a shoot: is the rig still what was calibrated?"),
    "limits": (
        "coincide.cli.limits",
        "What the rig can stand: fastest subject, nearest distance, longest lens.",
    ),
    "budget": (
        "coincide.cli.budget",
        "Where the ghost comes from, in micrometres, and what to change first.",
    ),
    "exposure": ("coincide.cli.exposure", "One meter reading to both bodies' aperture and shutter."),
    "glass": (
        "coincide.cli.glass",
        "How large the splitter must be, where the pupils belong, what it does to light.",
    ),
    "infrared": ("coincide.cli.infrared", "Focus, aperture and a bracket for the body with infrared film."),
    "framelog": ("coincide.cli.framelog", "Read the box's log of the frames shot in the field."),
    "ghost": ("coincide.cli.ghost", "From a ghost's size to the skew that would explain it, and back."),
    "scans": ("coincide.cli.scans", "Register two scans and measure what moved between them."),
    "wiring": ("coincide.cli.wiring", "Schematics, parts, electrical figures and cautions."),
    "report": ("coincide.cli.report", "Tables, plots and a page from any session file."),
    "card": ("coincide.cli.card", "A pocket card for the camera bag, one leaf of A6."),
}


@click.group(
    cls=LazyGroup,
    lazy=COMMANDS,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="New here? 'coincide demo' needs no hardware and takes less than a minute.",
)
@click.version_option(package_name="coincide", message="coincide %(version)s")
@click.pass_context
def coincide(context: click.Context) -> None:
    """Make two camera bodies expose the same moment.

    A small box fires both releases and times what the shutters do; these commands read it, measure how
    late one body is, suggest the offset that brings them together, and check it. Alone, 'coincide' says
    what to do next with what is in this folder.
    """
    if context.invoked_subcommand is None:
        from datetime import UTC, datetime
        from pathlib import Path

        from coincide.cli.terminal.show import say
        from coincide.report.words.next_step import next_step

        for line in next_step(Path("rig.toml"), datetime.now(UTC)):
            say(line)
        say("All commands: coincide --help")


def main() -> None:
    """Entry point: a failure the person can act on is one sentence and an exit code, never a traceback."""
    process.prepare()
    given = Given()
    try:
        answer = coincide.main(standalone_mode=False, prog_name="coincide", obj=given)
        process.flush()
        sys.exit(answer if isinstance(answer, int) else 0)
    except CoincideError as failure:
        aside(given.repeated(f"coincide: {failure}"))
        if failure.exit_code == 2:
            say_what_wants_quotes(sys.argv[1:])
        sys.exit(failure.exit_code)
    except click.ClickException as wrong_use:
        said = io.StringIO()
        wrong_use.show(said)
        click.echo(cut(said.getvalue()), err=True, nl=False)
        say_what_wants_quotes(sys.argv[1:])
        sys.exit(2)
    except (KeyboardInterrupt, click.Abort):
        click.echo("coincide: stopped. Whatever was measured so far is kept.", err=True)
        sys.exit(130)
    except (ReaderLeft, BrokenPipeError):
        # No failure of ours.
        process.leave_quietly()
    except OSError as failure:
        # A disk that is full or a folder that may not be written, wherever it shows first.
        where = "" if failure.filename is None else f"{failure.filename}: "
        aside(cut(f"coincide: {where}{failure.strerror or failure}: make room or choose another folder."))
        process.give_up_output()
        sys.exit(2)
