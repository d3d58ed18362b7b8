"""When an edge counts: the rules by which raw edges of one body become its exposure."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class EdgeRules:
    """Rules for one body, all in seconds.

    bounce_s: a contact that closes again within this time of closing bounced: no body fires twice so fast.
    rebound_s: so has one that closes again this soon after opening, as at the end of a long exposure or after
        a touch too short to be an exposure. A short touch with a longer gap behind it is a flick.
    earliest_s, latest_s: a closing outside this window after the body's full-press is not its exposure.
        In a watched group there is no full-press and the window does not apply.
    shortest_closed_s: a contact that never stays closed this long only flicked.
    held_s: a contact at full opening cannot open again sooner than this. A shorter one followed by one that is held so
        long was shaken closed, by the mirror for one; a contact that only pulses is taken as it comes. 0: no rule.
    gate_chatter_s: a gate sensor that goes dark for no longer than this chattered at its threshold.
    gate_shortest_s: light shorter than this is no exposure.
    gate_held_s: light shorter than this, followed by light that lasts so long, was a spike before it. 0: no rule.
    """

    bounce_s: float = 0.012
    rebound_s: float = 0.003
    earliest_s: float = 0.003
    latest_s: float = 1.0
    shortest_closed_s: float = 0.0005
    held_s: float = 0.0
    gate_chatter_s: float = 0.0002
    gate_shortest_s: float = 0.00002
    gate_held_s: float = 0.0
