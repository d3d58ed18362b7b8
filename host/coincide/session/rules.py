"""When an edge counts: the rules by which raw edges of one body become its exposure."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class EdgeRules:
    """Rules for one body, all in seconds.

    bounce_s: a contact that opens for no longer than this and closes again is still the same closing.
    earliest_s, latest_s: a closing outside this window after the body's full-press is not its exposure.
        In a watched group there is no full-press and the window does not apply.
    shortest_closed_s: a contact that never stays closed this long only flicked.
    gate_chatter_s: a gate sensor that goes dark for no longer than this chattered at its threshold.
    gate_shortest_s: light shorter than this is no exposure.
    """

    bounce_s: float = 0.006
    earliest_s: float = 0.003
    latest_s: float = 1.0
    shortest_closed_s: float = 0.0005
    gate_chatter_s: float = 0.0002
    gate_shortest_s: float = 0.00002
