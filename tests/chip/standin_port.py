"""The firmware on the stand-in chip, with the bodies on its pins, behind the host's port interface.

In virtual time and without a serial line between; what `--chip-port` offers for real.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tests.chip import bodies
from tests.firmware.board.loading import Loaded


class ChipWorld:
    """The world interface of bodies.py over a stand-in chip."""

    def __init__(self, loaded: Loaded) -> None:
        self.chip = loaded.chip
        self.words: list[tuple[object, ...]] = []

    @property
    def now(self) -> int:
        return int(self.chip.cycle * 1_000_000_000 // self.chip.freq)

    def at(self, ns: int, what: Callable[[], None]) -> None:
        # The first cycle that is not before it.
        self.chip.at(-(-ns * self.chip.freq // 1_000_000_000), what)

    def after(self, ns: int, what: Callable[[], None]) -> None:
        self.at(self.now + ns, what)

    def drive(self, pin: int, level: int | None) -> None:
        self.chip.drive(pin, level)

    def on_output(self, pin: int, heard: Callable[[int, int], None]) -> None:
        def watcher(cycle: int, level: int) -> None:
            heard(cycle * 1_000_000_000 // self.chip.freq, level)

        self.chip.watchers.setdefault(pin, []).append(watcher)

    def log(self, *words: object) -> None:
        self.words.append(words)


class StandInPort:
    """Host port: reading lets the box's own loop run."""

    name = "stand-in chip"

    def __init__(self, chip: str = "RP2040", freq: int = 125_000_000) -> None:
        self.loaded = Loaded(freq, chip)
        self.world = ChipWorld(self.loaded)
        bodies.setup(self.world)
        self.board: Any = self.loaded.use("board.pico").Board()
        self.box: Any = self.loaded.use("app.box").Box(self.board)

    def write(self, data: bytes) -> None:
        self.loaded.peer.to_box += data

    def read(self, timeout_s: float) -> bytes:
        # Within: the board imports some modules only when they are asked for.
        peer = self.loaded.peer
        self.loaded.inside(lambda: self._run(self.now_s() + timeout_s, lambda: bool(peer.from_box)))
        said = bytes(peer.from_box)
        peer.from_box = bytearray()
        return said

    def now_s(self) -> float:
        return float(self.loaded.chip.cycle / self.loaded.chip.freq)

    def wait(self, seconds: float) -> None:
        self.loaded.inside(lambda: self._run(self.now_s() + seconds, lambda: False))

    def reopen(self) -> bool:
        return True

    def close(self) -> None:
        return

    def _run(self, until_s: float, done: Callable[[], bool]) -> None:
        while not done() and self.now_s() < until_s:
            self._step()

    def _step(self) -> None:
        self.board.idle(self.box.step())
