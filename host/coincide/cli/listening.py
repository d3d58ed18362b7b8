"""Watching into a session file, with the pairs shown as they come."""

from __future__ import annotations

from pathlib import Path

from coincide.cli.firing import Bench, Firing, opened_session, session_header
from coincide.cli.terminal.show import aside


def listen(
    bench: Bench,
    path: Path,
    firing: Firing,
    *,
    gap_s: float,
    quiet_s: float | None,
) -> None:
    """Listen until `firing.pairs` groups (0: no end), `quiet_s` of quiet, or Ctrl-C."""
    from coincide.box.conduct import watch
    from coincide.cli.terminal.live import LiveView

    header = session_header(bench, firing, None)
    writer, earlier = opened_session(path, header)
    aside("Listening. Fire the rig as you would in the field; Ctrl-C ends.")

    with writer, LiveView(header, bench.rig, firing.pairs or None, earlier=earlier) as view:
        if writer.found is not None:
            view.note(writer.found)
        watch(
            bench.client,
            writer,
            view.take,
            gap_s=gap_s,
            groups=firing.pairs or None,
            quiet_s=quiet_s,
            on_note=view.note,
        )
