"""A next step that is printed works as printed: the --rig that was given is kept in it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

# Commands that take --rig; a test compares them with the command tree.
TAKE_RIG = (
    "rig check",
    "rig show",
    "box check",
    "box settings",
    "box serve",
    "series",
    "watch",
    "recording",
    "calibrate",
    "lamps fire",
    "ready",
    "limits",
    "budget",
    "exposure",
    "glass",
    "infrared",
    "framelog",
    "ghost",
    "scans",
    "card",
)
_STEP = re.compile(rf"\bcoincide ({'|'.join(TAKE_RIG)})\b(?![^'\n]*--rig)(?! [\w./-]+\.toml)")


def quoted(path: Path) -> str:
    """The path as a shell takes it, in double quotes where it needs some: the step itself often stands in single."""
    return str(path) if re.fullmatch(r"[\w./:\\+@~-]+", str(path)) else f'"{path}"'


@dataclass
class Given:
    """What of the command line the printed next steps repeat. rig: the file given by --rig, or None."""

    rig: Path | None = None

    def repeated(self, sentence: str) -> str:
        """The sentence with --rig in every command in it that takes one."""
        if self.rig is None:
            return sentence
        option = f" --rig {quoted(self.rig)}"
        return _STEP.sub(lambda found: found[0] + option, sentence)
