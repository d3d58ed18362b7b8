"""Who stands at the bench in a test."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from coincide.bench.person import Progress, Question


class Helper:
    """A `Person` who is there: keeps what was told, asked and shown; says yes to everything but `refuses`, and answers
    with `answers` in their order, then with what is usual. `does` is done at each question, and answers it."""

    there = True

    def __init__(
        self,
        refuses: tuple[str, ...] = (),
        answers: Sequence[str] = (),
        does: Callable[[Question], bool] = lambda _: True,
    ) -> None:
        self.refuses = refuses
        self.answers = list(answers)
        self.does = does
        self.told: list[str] = []
        self.asked: list[str] = []
        self.shown: list[Progress] = []

    def tell(self, sentence: str) -> None:
        self.told.append(sentence)

    def confirm(self, question: Question) -> bool:
        self.asked.append(question.text)
        return self.does(question) and not any(word in question.text for word in self.refuses)

    def ask(self, text: str, usual: str = "", choices: Sequence[str] = ()) -> str:
        self.asked.append(text)
        answer = self.answers.pop(0) if self.answers else usual
        assert not choices or answer in choices
        return answer

    def progress(self, what: Progress) -> None:
        self.shown.append(what)

    def wound(self) -> bool:
        return False

    def stop(self) -> bool:
        return False
