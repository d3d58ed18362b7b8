"""What `coincide recording` asks, prints and writes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from coincide.cli.terminal.options import Command
from coincide.cli.terminal.person import somebody_answers
from coincide.cli.terminal.show import aside, progress, say

if TYPE_CHECKING:
    from coincide.bench.heard import Account, Wish


def beginning_options(function: Command) -> Command:
    """`--how`, `--have`, `--rehearse`: what to begin with, before there is a recording."""
    function = click.option(
        "--rehearse",
        type=click.Choice(("light", "sound")),
        default=None,
        help="Write the recording of an invented evening, to try this on.",
    )(function)
    function = click.option(
        "--have",
        type=click.Choice(("interface", "recorder", "socket", "telephone", "analyser")),
        default=None,
        help="With --how: what you have, instead of being asked.",
    )(function)
    return click.option(
        "--how",
        is_flag=True,
        help="Ask what you have; say whether it will do, what to connect, and the cautions.",
    )(function)


def tell_how(have: str | None, source: str, folder: Path | None) -> None:
    """Cautions, what there is, whether it will do, what to connect and to do, what will be known; into `folder` the
    drawing."""
    from coincide.report.words.recording import HAVE, LEADS, SAFETY, TONIGHT, how_sentences
    from coincide_wiring.circuits.recording import recording
    from coincide_wiring.draw.recording import joint_lines
    from coincide_wiring.draw.schematics import write

    say("First, what can hurt:")
    for caution in SAFETY:
        say(f"- {caution}")
    say()
    say(TONIGHT)
    if have is None:
        say("What do you have?")
        for name, what in HAVE.items():
            say(f"  {name:10} {what}")
        with somebody_answers("What do you have?"):
            have = click.prompt("It is", type=click.Choice(tuple(HAVE)), err=True)
            if have != "analyser":
                source = click.prompt("Light or sound", type=click.Choice(("light", "sound")), err=True)
    say()
    for line in how_sentences(have, source if have != "analyser" else "light"):
        say(line)
    say()
    leads = LEADS[have] if source == "light" or have == "analyser" else ("contact",)
    sheets = tuple(recording(variant) for variant in leads)
    for sheet in sheets:
        for line in joint_lines(sheet):
            say(line)
    if folder is None:
        say("With --to FOLDER this is drawn.")
    else:
        for path in write(folder, sheets):
            say(f"Wrote {path}")


def write_rehearsal(kind: str, out: Path | None, rig_path: Path, seed: int) -> None:
    """An invented evening as a WAV file, and a rig for it where there is none."""
    from coincide.bench.rehearse import rehearse

    said = rehearse(kind, out or Path(f"rehearsal-{kind}.wav"), rig_path, seed)
    for sentence in said:
        say(sentence)


def wish_of(
    paths: tuple[Path, ...],
    source: str,
    channels: str | None,
    position: float,
    place_m: float,
    slit_m: float,
    threshold_v: float | None,
) -> Wish:
    """What is wished for; a capture is known by its name. Raises BadInput where it is not said which channel is
    which."""
    from coincide.bench.heard import Wish
    from coincide.errors import BadInput
    from coincide.recording.files import is_capture

    captured = [is_capture(path) for path in paths]
    if any(captured) and not all(captured):
        raise BadInput("Some of these files are captures and some are sound: measure each by itself.")
    if any(captured):
        if channels is None:
            raise BadInput('Say which channel of the capture is which: --channels "D0=gate_a1 D1=gate_b1".')
        return Wish("instrument", channels, position, place_m, slit_m, threshold_v)
    return Wish("sound" if source == "sound" else "light", channels, position, place_m, slit_m)


def measure(
    paths: list[Path],
    rig_path: Path,
    wish: Wish,
    out: Path | None,
    folder: Path | None,
    *,
    as_json: bool,
    compare: tuple[Path | None, float | None],
) -> None:
    """Read it, say what was found, draw it, report."""
    from coincide.bench.recording import record
    from coincide.cli.terminal.topics.results import show_budget, show_comparison, show_session
    from coincide.report.words.recording import account_sentences
    from coincide.rig.file import load_rig, read_text
    from coincide.timing.analysis import analyse_file

    load_rig(rig_path)  # what is wrong with it is said before a long file is read
    path = out or paths[0].with_suffix(".jsonl")
    with progress("reading", 1000) as bar:

        def on(part: float) -> None:
            bar.update(bar.task_ids[0], completed=1000 * part)

        account = record(paths, read_text(rig_path, "rig"), wish, path, on)
    found = account_sentences(account)
    tell = aside if as_json else say
    for sentence in found if as_json else ():
        tell(sentence)
    analysis = analyse_file(path)
    other, turned = compare
    then = None if other is None else analyse_file(other)
    if analysis.measured.session.header.simulated and not as_json:
        say("Simulated: this recording is an invented evening. Nothing of it was measured.")
    show_session(analysis, path, as_json=as_json, other=then, account=found)
    if not as_json:
        if other is not None:
            show_comparison(analysis, other, then, turned)
        show_budget(analysis)
    names = (analysis.measured.rig.bodies.a.name, analysis.measured.rig.bodies.b.name)
    written = _pictures(account, names, folder or path.parent, path.stem)
    if written:
        tell("Wrote:")
        for each in written:
            tell(f"  {each}")


def _pictures(account: Account, names: tuple[str, str], folder: Path, stem: str) -> list[Path]:
    if account.outline is None or account.drawn is None:
        return []
    from coincide.durable import make_folder
    from coincide.report.plots.figures import save_figures
    from coincide.report.plots.recording import pair_waves, whole_recording

    make_folder(folder)
    drawn = account.drawn
    figures: dict[str, Any] = {
        "recorded-pair": pair_waves(drawn.wave, drawn.rate_hz, drawn.from_s, drawn.edges_s, names),
        "recording": whole_recording(
            account.outline, account.pairs_s, account.alone_s, tuple(at for at, _ in account.left_out)
        ),
    }
    return save_figures(figures, folder, stem)
