"""The library warmed up: the fork server imports this once, and each new process of a host begins at once.

Everything is imported here, also for hosts that may not read the library's files later.
"""

import tempfile
from importlib import import_module
from pathlib import Path

import tests.reliability.hosts  # noqa: F401
from coincide.cli import COMMANDS
from tests.cli.running import run

for module, *_ in COMMANDS.values():
    import_module(module)
with tempfile.TemporaryDirectory() as folder:
    run(["rig", "new"], Path(folder))
    run(["calibrate", "-n", "10", "--verify", "10"], Path(folder))
    run(["watch", "-n", "2"], Path(folder))
    run(["framelog"], Path(folder))
