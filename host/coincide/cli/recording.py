"""`coincide recording`: a session out of a two-channel sound recording or an instrument's capture, without the box."""

from __future__ import annotations

from pathlib import Path

import click

from coincide.cli.terminal.options import folder_option, json_option, rig_option, seed_option, session_option
from coincide.cli.terminal.quantities import quantity_above_zero
from coincide.cli.terminal.topics.recording import beginning_options

FILE = click.Path(path_type=Path)


@click.command("recording")
@click.argument("files", nargs=-1, type=FILE)
@click.option(
    "--light", "source", flag_value="light", default=True, help="Diodes at the gates (the default)."
)
@click.option("--sound", "source", flag_value="sound", help="Contact microphones on the bodies.")
@click.option(
    "--channels",
    default=None,
    help='Which is which: "left=B right=A", or of a capture "D0=gate_a1 !D1=gate_b1" (\'!\' inverts).',
)
@click.option(
    "--threshold",
    type=float,
    default=None,
    help="Volts at which a capture's level changes. Default: half of each pulse.",
)
@click.option(
    "--position",
    type=click.FloatRange(0.0, 1.0),
    default=0.5,
    show_default=True,
    help="Where the diodes sit along the sweep, 0 where the exposure begins.",
)
@click.option(
    "--place",
    "place_m",
    type=quantity_above_zero("length", or_zero=True),
    default="1 mm",
    show_default=True,
    help="How far along the sweep a diode may sit from there.",
)
@click.option(
    "--slit",
    "slit_m",
    type=quantity_above_zero("length"),
    default="1 mm",
    show_default=True,
    help="Width of the slit.",
)
@session_option("Session file. Default: beside the recording, with its name.")
@folder_option("Folder for the pictures; with --how, for the drawing of what to connect.")
@click.option("--compare", "other", type=FILE, default=None, help="An earlier session of the same rig.")
@click.option(
    "--turned",
    type=click.FloatRange(0.0, 100.0, min_open=True),
    default=None,
    help="How many turns the plunger's screw was turned since --compare.",
)
@beginning_options
@seed_option
@rig_option
@json_option
def command(
    files: tuple[Path, ...],
    source: str,
    channels: str | None,
    threshold: float | None,
    position: float,
    place_m: float,
    slit_m: float,
    out: Path | None,
    folder: Path | None,
    other: Path | None,
    turned: float | None,
    how: bool,
    have: str | None,
    rehearse: str | None,
    seed: int,
    rig_path: Path,
    as_json: bool,
) -> None:
    """Measure without the box: from a stereo recording of two diodes or contact microphones, or from a capture
    (VCD, CSV).

    It becomes a session like that of 'watch': skew, but no lag. Begin with --how, cautions first; a recording
    begins with three bangs of body A alone, then three of B alone, which name the channels.

    Example: coincide recording evening.wav --light
    """
    from coincide.cli.terminal.topics import recording as steps

    if how:
        steps.tell_how(have, source, folder)
        return
    if rehearse is not None:
        steps.write_rehearsal(rehearse, out, rig_path, seed)
        return
    if not files:
        raise click.UsageError("Name the recording, or begin with 'coincide recording --how'.")
    if turned is not None and other is None:
        raise click.UsageError(
            "--turned says how far since an earlier session: name that one with --compare."
        )
    wish = steps.wish_of(files, source, channels, position, place_m, slit_m, threshold)
    steps.measure(list(files), rig_path, wish, out, folder, as_json=as_json, compare=(other, turned))
