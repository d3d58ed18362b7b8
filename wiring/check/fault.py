"""What the electrical rule check finds."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """`rule` names the rule broken, `where` the part, pin or net, `say` the sentence for the person."""

    rule: str
    where: str
    say: str
