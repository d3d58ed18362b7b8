"""The box's lamp row: lit for a while, one lamp after another, and put out."""

from __future__ import annotations

import math
from dataclasses import dataclass

from coincide.box.cable.answers import need
from coincide.box.cable.client import BoxClient
from coincide_firmware.app.pins import LAMPS

LONGEST_ROWS = 10_000
NS = 1e9


@dataclass(frozen=True, slots=True)
class RowLit:
    """The row as the box runs it: lamps, ticks each is lit, tick at which lamp 1 was first lit."""

    lamps: int
    step_ticks: int
    start_tick: int


def light_row(client: BoxClient, step_s: float, for_s: float) -> RowLit:
    """Begin the row, lamp 1 first, over and over for about `for_s`; it goes out by itself."""
    rows = min(max(math.ceil(for_s / (LAMPS * step_s)), 1), LONGEST_ROWS)
    reply = client.talk.ask("lamps", {"lamps": LAMPS, "step_ns": round(step_s * NS), "rows": rows})
    return RowLit(need(reply, "lamps", int), need(reply, "step", int), need(reply, "tick", int))


def ensure_dark(client: BoxClient) -> None:
    """No lamp is lit when this returns, save for a blink."""
    client.talk.ask("lamps", {"lamps": 2, "step_ns": 20_000, "rows": 1})
