"""Running the command line in this process, as a shell would see it."""

from __future__ import annotations

import contextlib
import io
import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from unittest.mock import patch

import pytest

from coincide.cli import main
from coincide.cli.terminal.process import TERMINATED


@dataclass(frozen=True)
class Ran:
    code: int
    out: str
    err: str

    @property
    def said(self) -> str:
        return self.out + self.err


def run(arguments: Sequence[str], cwd: Path) -> Ran:
    """`coincide ARGUMENTS` in folder `cwd`. A traceback is a failure of the test, not of the command.

    The command listens for SIGTERM: one that was meant for the tests (a runner's time is up) would pass for the
    command's own end, and a test be blamed. It ends the run.
    """
    out, err, code = io.StringIO(), io.StringIO(), 0
    before = Path.cwd()
    os.chdir(cwd)
    try:
        with (
            patch.object(sys, "argv", ["coincide", *arguments]),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
        ):
            try:
                main()
            except SystemExit as leaving:
                code = leaving.code if isinstance(leaving.code, int) else int(leaving.code is not None)
    finally:
        os.chdir(before)
    if code == TERMINATED:
        pytest.exit("The tests were told to end (SIGTERM).", returncode=TERMINATED)
    return Ran(code, out.getvalue(), err.getvalue())
