"""Failures a person can act on. The command line prints the sentence and leaves with the exit code."""

from __future__ import annotations


class CoincideError(Exception):
    """One clear sentence: what happened, where, and what to do."""

    exit_code = 2


class BadInput(CoincideError):
    """A file, a key, an argument: something the person can correct."""

    exit_code = 2


class BoxFailed(CoincideError):
    """The box, the cable or the port let us down."""

    exit_code = 3
