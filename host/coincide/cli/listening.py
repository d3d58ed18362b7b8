"""Watching into a session file, with the pairs shown as they come."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from coincide.cli.firing import Firing, session_header
from coincide.cli.show import aside

if TYPE_CHECKING:
    from coincide.box.client import BoxClient
    from coincide.rig.model import Rig


def listen(
    client: BoxClient,
    rig: Rig,
    rig_toml: str,
    path: Path,
    firing: Firing,
    *,
    gap_s: float,
    quiet_s: float | None,
) -> None:
    """Listen until `firing.pairs` groups (0: no end), `quiet_s` of quiet, or Ctrl-C."""
    from coincide.box.conduct import watch
    from coincide.cli.live import LiveView
    from coincide.session.file import SessionWriter

    header = session_header(client, rig, rig_toml, firing, None)
    writer = SessionWriter.resume(path) if path.exists() else SessionWriter(path, header)
    aside("Listening. Fire the rig as you would in the field; Ctrl-C ends.")

    with writer, LiveView(header, rig, firing.pairs or None) as view:
        watch(
            client,
            writer,
            view.take,
            gap_s=gap_s,
            groups=firing.pairs or None,
            quiet_s=quiet_s,
            on_note=view.note,
        )
