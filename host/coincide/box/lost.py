"""The failure of a port that had been open."""

from __future__ import annotations

from coincide.errors import BoxFailed


class PortLost(BoxFailed):
    """The box went away: unplugged, reset, or without power. The same box may come back."""
