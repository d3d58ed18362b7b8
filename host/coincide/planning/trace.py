"""Where a number came from: every figure the planning commands print carries its chain."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Link:
    """One step of a chain.

    name: what it is. value, unit: as it should be printed. source: 'rig: KEY', 'calibration: FIGURE',
    'given: OPTION', 'rough: ...' or 'computed: FORMULA' over the links before it.
    """

    name: str
    value: float
    unit: str
    source: str

    def __str__(self) -> str:
        return f"{self.name} = {self.value:.4g} {self.unit}".rstrip() + f"   ({self.source})"
