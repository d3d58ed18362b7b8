"""What the analysis noticed about a body or a series: a sentence, and what to do."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Finding:
    """code: stable name, such as 'drift'. body: 'A', 'B' or None for the pair. say: one sentence with
    numbers. advice: what to do, or ''. figures: the numbers behind the sentence, units in their names."""

    code: str
    body: str | None
    say: str
    advice: str
    figures: dict[str, float] = field(default_factory=dict)
