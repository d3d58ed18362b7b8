"""Failures a person can act on. The command line prints the sentence and leaves with the exit code."""

from __future__ import annotations

SENTENCE_MOST = 1500
_ENDS_WITH = 500  # what to do stands at the end


def cut(text: str, most: int = SENTENCE_MOST) -> str:
    """The text, its middle left out where it is longer than anybody reads: what was given is quoted in sentences."""
    if len(text) <= most:
        return text
    end = min(_ENDS_WITH, most // 3)
    left_out = len(text) - most
    return f"{text[: most - end]} [{left_out} characters left out] {text[-end:]}"


class CoincideError(Exception):
    """One clear sentence: what happened, where, and what to do. What it quotes of a file or an argument may be of any
    length; the sentence is not."""

    exit_code = 2

    def __init__(self, say: str) -> None:
        super().__init__(cut(say))


class BadInput(CoincideError):
    """A file, a key, an argument: something the person can correct."""

    exit_code = 2


class BoxFailed(CoincideError):
    """The box, the cable or the port let us down."""

    exit_code = 3
