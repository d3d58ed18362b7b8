"""Who stands at the bench: whom a procedure tells and asks, and who says 'wound' and 'stop'.

The terminal is one (`coincide.cli.terminal.person`), a script's nobody another (`Unattended`), a test has its own.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from coincide.errors import BadInput, CoincideError

if TYPE_CHECKING:
    from coincide.rig.model import Rig
    from coincide.timing.analysis import Analysis
    from coincide.timing.running import RunningSeries


class Declined(CoincideError):
    """The person said no before anything was done."""

    exit_code = 130

    def __init__(self) -> None:
        super().__init__("stopped. Whatever was measured so far is kept.")


@dataclass(frozen=True, slots=True)
class Question:
    """A yes-or-no question. `act` and `signal` say what a yes has done or seen, for a hand that is simulated:
    ("press", "preset"), ("light", "gate_a1"), ("interlock", "open"); '' for a mere question. Neither
    answer is taken for granted: Enter alone asks again."""

    text: str
    act: str = ""
    signal: str = ""


@dataclass(frozen=True, slots=True)
class Opened:
    """A box is open; `say` tells which, and whether it is a simulated one."""

    say: str
    simulated: bool


@dataclass(frozen=True, slots=True)
class Step:
    """A step of a longer procedure begins; `say` is its heading."""

    say: str


@dataclass(frozen=True, slots=True)
class SeriesBegun:
    """Pairs will come: of this rig, `pairs` in all (None: no end known). `running` knows those there are."""

    rig: Rig
    pairs: int | None
    running: RunningSeries


@dataclass(frozen=True, slots=True)
class PairKept:
    """Pair `shot` is on the disk; its skew in seconds, NaN where a body did not answer."""

    shot: int
    skew_s: float


@dataclass(frozen=True, slots=True)
class ToDo:
    """What the person should do now, such as wind; no news once the next pair is in."""

    say: str


@dataclass(frozen=True, slots=True)
class SeriesOver:
    """No more pairs come."""


@dataclass(frozen=True, slots=True)
class Shows:
    """What a measured series shows, before the next step."""

    analysis: Analysis


@dataclass(frozen=True, slots=True)
class Read:
    """So many entries of so many are here."""

    done: int
    of: int


Progress = Opened | Step | SeriesBegun | PairKept | ToDo | SeriesOver | Shows | Read


class Person(Protocol):
    """The person at the bench, as a procedure knows them."""

    @property
    def there(self) -> bool:
        """Whether somebody can read and answer."""

    def tell(self, sentence: str) -> None:
        """Something to know: what is about to happen, what was noticed."""

    def confirm(self, question: Question) -> bool:
        """Yes or no. Raises BadInput where nobody can be asked."""

    def ask(self, text: str, usual: str = "", choices: Sequence[str] = ()) -> str:
        """A word: one of `choices` where there are some; `usual` on Enter alone, asked again where
        there is none. Raises BadInput where nobody can be asked."""

    def progress(self, what: Progress) -> None:
        """How it goes."""

    def wound(self) -> bool:
        """True once each time the person says that both bodies are wound; asked again and again."""

    def stop(self) -> bool:
        """Whether the person wants to end it; asked between steps."""


def _unheard(_: object) -> None:
    """Nobody listens."""


class Unattended:
    """Nobody: a script. Hears nothing unless given `on_progress` or `on_tell`, confirms nothing, asks for nothing."""

    there = False

    def __init__(
        self,
        on_progress: Callable[[Progress], None] = _unheard,
        on_tell: Callable[[str], None] = _unheard,
        stop: Callable[[], bool] = lambda: False,
        wound: Callable[[], bool] = lambda: False,
    ) -> None:
        self.progress = on_progress
        self.tell = on_tell
        self.stop = stop
        self.wound = wound

    def confirm(self, question: Question) -> bool:
        raise BadInput(f"Nobody is there to ask: {question.text}")

    def ask(self, text: str, usual: str = "", choices: Sequence[str] = ()) -> str:
        raise BadInput(f"Nobody is there to ask: {text}")
