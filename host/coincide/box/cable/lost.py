"""Failures of a port that had been open."""

from __future__ import annotations

from coincide.errors import BoxFailed


class PortLost(BoxFailed):
    """The box went away or fell silent: unplugged, reset, hung, without power. It may come back."""


class BoxSilent(PortLost):
    """The port is there and nothing on it answers: the box hangs, or it is another device."""
