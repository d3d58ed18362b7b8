"""The live view of a series or a watch: in a terminal a small panel, in a pipe plain lines now and then."""

from __future__ import annotations

import math
import time
from collections import deque
from typing import TYPE_CHECKING

import numpy as np

from coincide.cli.terminal.show import harmless
from coincide.report.words.numbers import ms, ms_with_interval

if TYPE_CHECKING:
    from rich.console import Console, Group
    from rich.live import Live

    from coincide.rig.model import Rig
    from coincide.timing.running import RunningSeries

SHOWN = 6
PLAIN_EVERY = 10
BAR_WIDTH = 48
SUGGEST_EVERY = 5


class LiveView:
    """Shows pairs as they come, from `open` to `close`. `total` None: no end known (a watch). `running` measures
    them, and knows those of a file that is gone on with."""

    def __init__(self, rig: Rig, total: int | None, running: RunningSeries) -> None:
        from rich.console import Console

        self._console: Console = Console(stderr=True, highlight=False, markup=False)
        self._running = running
        self._names = (rig.bodies.a.name, rig.bodies.b.name)
        self._total = total
        self._last: deque[tuple[int, float]] = deque(maxlen=SHOWN)
        self._missed = int(np.isnan(running.skew_s).sum())
        self._suggestion = self._running.suggestion()
        self._prompt = ""
        self._began_s = time.monotonic()
        self._live: Live | None = None

    def open(self) -> None:
        """Take a part of the terminal."""
        if self._console.is_terminal:
            from rich.live import Live

            # Redrawn on news only, a few times a second at most: a steady picture at 80 columns.
            self._live = Live(console=self._console, auto_refresh=False, transient=True)
            self._live.start()

    def close(self) -> None:
        """Give it back."""
        if self._live is not None:
            self._live.stop()

    def note(self, sentence: str) -> None:
        """A sentence for the person; it stays on the screen."""
        self._console.print(harmless(sentence), soft_wrap=not self._console.is_terminal)

    def prompt(self, sentence: str) -> None:
        """What the person should do now; gone again once the next pair is in."""
        if self._live is None:
            self._console.print(sentence, soft_wrap=not self._console.is_terminal)
            return
        self._prompt = sentence
        self._live.update(self._picture(), refresh=True)

    def take(self, shot: int, skew_s: float) -> None:
        """The next pair, already safe on disk and taken by `running`."""
        self._prompt = ""
        self._last.append((shot, skew_s))
        self._missed += int(math.isnan(skew_s))
        if self._running.taken % SUGGEST_EVERY == 0:
            self._suggestion = self._running.suggestion()
        if self._live is not None:
            self._live.update(self._picture(), refresh=True)
        elif self._running.taken % PLAIN_EVERY == 0 or self._total is None:
            self._console.print(self._line(shot, skew_s), soft_wrap=True)

    def _line(self, shot: int, skew_s: float) -> str:
        of = "" if self._total is None else f" of {self._total}"
        said = (f"pair {shot}{of}: {self._skew(skew_s)}", self._so_far(), self._enough())
        return "; ".join(one for one in said if one)

    def _picture(self) -> Group:
        from rich.console import Group
        from rich.text import Text

        done = self._running.before + self._running.taken
        lines: list[Text] = []
        if self._total is not None:
            lines.append(
                Text(f"{done} of {self._total} pairs, {self._missed} without an answer", style="bold")
            )
            filled = round(BAR_WIDTH * min(done / self._total, 1.0))
            lines.append(Text("━" * filled + "·" * (BAR_WIDTH - filled) + self._time_left(done)))
        else:
            lines.append(Text(f"{done} pairs, {self._missed} without an answer", style="bold"))
        lines += [Text(f"  pair {shot:4d}   {self._skew(skew_s)}") for shot, skew_s in self._last]
        lines += [Text(said) for said in (self._so_far(), self._enough()) if said]
        if self._prompt:
            lines.append(Text(self._prompt, style="bold"))
        return Group(*lines)

    def _time_left(self, done: int) -> str:
        """How long the rest will take at this pace."""
        if self._total is None or self._running.taken < 2:
            return ""
        pace_s = (time.monotonic() - self._began_s) / self._running.taken
        left_s = pace_s * max(self._total - done, 0)
        return f"  about {left_s:.0f} s left" if left_s < 90 else f"  about {left_s / 60:.0f} min left"

    def _skew(self, skew_s: float) -> str:
        measured = self._running.measured
        if math.isnan(skew_s) or measured is None:
            return "not measured: a body did not answer"
        late = self._names[1] if skew_s > 0 else self._names[0]
        verdict = "within tolerance" if abs(skew_s) <= measured.tolerance_s else "out of tolerance"
        return f"{late} late by {ms(abs(skew_s), 1e-4)}, {verdict}"

    def _so_far(self) -> str:
        found = self._suggestion
        if found is None:
            return "too few pairs for an offset yet"
        low_s, high_s = found.interval_s
        if self._total is None:  # a watch: nothing holds a body back
            late, interval = (1, (low_s, high_s)) if found.best_s > 0 else (0, (-high_s, -low_s))
            said = f"so far {self._names[late]} late by {ms_with_interval(abs(found.best_s), interval)}"
        else:
            held, interval = (0, (low_s, high_s)) if found.best_s > 0 else (1, (-high_s, -low_s))
            said = f"offset so far: {self._names[held]} waits {ms_with_interval(abs(found.best_s), interval)}"
        return said

    def _enough(self) -> str:
        """Whether more pairs would tell anything that matters at this tolerance."""
        found = self._suggestion
        if found is None or found.interval_s[1] - found.interval_s[0] >= found.tolerance_s / 4:
            return ""
        return "that is enough for this tolerance"
