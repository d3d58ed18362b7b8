"""Imports `board` and `app` on CPython as the board would, against a stand-in chip of one's own.

Each `Loaded` has its own copies of the modules: they keep references to their chip.
"""

import builtins
import importlib
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

from tests.firmware.board.standin import modules
from tests.firmware.board.standin.chip import Chip

FIRMWARE = Path(__file__).resolve().parents[3] / "firmware"


class Loaded:
    """A chip and the firmware loaded against it: `use("board.pico")` imports a module of the board."""

    def __init__(self, freq: int = 125_000_000, chip: str = "RP2040") -> None:
        self.chip = Chip(freq, chip)
        self.peer = modules.Peer()
        self.files = modules.Files()
        self._modules: dict[str, Any] = modules.make_modules(self.chip, self.peer, self.files)

    def power_up(self) -> None:
        """Forgets what was imported: the chip has been reset and starts anew. Flash stays."""
        self._modules = modules.make_modules(self.chip, self.peer, self.files)
        self.chip.start_anew()

    def inside(self, what: Callable[[], Any]) -> Any:
        """What `what()` returns, called with this chip's modules in place of all others."""
        kept = dict(sys.modules)
        path = list(sys.path)
        opened = builtins.open
        for known in [n for n in sys.modules if n.partition(".")[0] in ("app", "board", "boot", "main")]:
            del sys.modules[known]
        sys.modules.update(self._modules)
        sys.path.insert(0, str(FIRMWARE))
        try:
            return what()
        finally:
            mine = {
                n: m
                for n, m in sys.modules.items()
                if n.partition(".")[0] in ("app", "board") and n not in kept
            }
            self._modules.update(mine)
            sys.modules.clear()
            sys.modules.update(kept)
            sys.path[:] = path
            builtins.open = opened

    def use(self, name: str) -> Any:
        if name in self._modules and "." not in name and name != "main":
            return self._modules[name]
        if name == "main":
            self.use("board.files")  # so that main, too, opens files of this chip and of no other machine
        module = self.inside(lambda: importlib.import_module(name))
        if name.startswith("board"):
            files = self._modules.get("board.files")
            if isinstance(files, ModuleType):
                files.__dict__["open"] = modules.opener(self.files)
        return module
