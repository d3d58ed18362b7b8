"""`coincide report`: tables, plots and a page from any session file."""

from __future__ import annotations

from pathlib import Path

import click

from coincide.cli.terminal.options import folder_option, json_option


@click.command("report")
@click.argument("session", type=click.Path(path_type=Path))
@click.option(
    "--fresh",
    type=click.Path(path_type=Path),
    default=None,
    help="The session fired with the offset on: draws before and after, and predicted beside obtained.",
)
@folder_option("Folder for the pictures and the page. Default: beside the session file.")
@click.option(
    "--holders-turned",
    "turned_round",
    type=click.Path(path_type=Path),
    default=None,
    help="A session of the same rig with both gate sensors' holders turned round: the mean is free of their placing.",
)
@click.option("--pair", type=click.IntRange(1), default=None, help="Draw the timing diagram of this pair.")
@click.option(
    "--csv",
    type=click.Path(path_type=Path),
    default=None,
    help="Write the pairs to a new CSV file, a row a pair.",
)
@json_option
def command(
    session: Path,
    fresh: Path | None,
    folder: Path | None,
    turned_round: Path | None,
    pair: int | None,
    csv: Path | None,
    as_json: bool,
) -> None:
    """Show what a session file holds: tables here, pictures and a page in files.

    Everything is worked out anew from the raw edges in the file. Nothing in it is changed.

    Example: coincide report sessions/20261125-101200-1-60+1-30-series.jsonl
    """
    from coincide.bench.lamp_row import read_row
    from coincide.cli.terminal.show import aside, say
    from coincide.cli.terminal.topics.results import show_budget, show_lamps, show_session, show_verified
    from coincide.report.files import write_csv, write_report
    from coincide.report.words.comparison import turned_sentence
    from coincide.report.words.series import was_recorded
    from coincide.session.file import read_session
    from coincide.timing.analysis import analyse_file, in_order

    if read_session(session).header.purpose == "lamps":
        # Nothing of it was seen by a sensor: the frames are what answers.
        show_lamps(read_row(session), as_json=as_json)
        return
    analysis = analyse_file(session)
    fresh_analysis = None if fresh is None else analyse_file(fresh)
    if fresh is not None and fresh_analysis is not None:
        ordered = in_order(analysis, fresh_analysis)
        if ordered[0] is not analysis:
            aside(f"{session} was fired with the offset on: it is the fresh one of the two.")
            session, analysis, fresh_analysis = fresh, *ordered
    # Files first: whoever reads only the first lines of what is printed still has them.
    # Who asks for JSON reads it by machine: pictures only where a folder or a pair is named.
    pictures = not as_json or folder is not None or pair is not None
    written = []
    if pictures:
        written += write_report(analysis, session, fresh_analysis, folder or session.parent, pair)
    if csv is not None:
        written.append(write_csv(analysis, csv))
    if analysis.measured.session.header.simulated and not as_json:
        made = "an invented recording" if was_recorded(analysis.measured) else "a simulated box"
        say(f"Simulated: {made} made this session. Nothing of it was measured.")
    show_session(analysis, session, as_json=as_json)
    tell = aside if as_json else say
    if not as_json:
        show_verified(analysis, fresh_analysis)
        show_budget(analysis)
        if turned_round is not None:
            say(turned_sentence(analysis.measured, analyse_file(turned_round).measured))
    if written:
        tell("Wrote:")
    for path in written:
        tell(f"  {path}")
