"""The library warmed up: the fork server imports this once, and each new process of a host begins at once."""

import tempfile
from pathlib import Path

import tests.reliability.hosts  # noqa: F401
from tests.cli.running import run

with tempfile.TemporaryDirectory() as folder:
    run(["rig", "new"], Path(folder))
    run(["calibrate", "-n", "10", "--verify", "10"], Path(folder))
    run(["framelog"], Path(folder))
