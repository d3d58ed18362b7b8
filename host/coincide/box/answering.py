"""Did the bodies answer? What the edges of one pair say at once, in sentences that name the body."""

from __future__ import annotations

from dataclasses import dataclass, field

from coincide.session.model import BODIES, ShotRecord
from coincide_firmware.app import pins

FULL = (pins.FULL_A, pins.FULL_B)
SENSES = (
    (pins.SYNC_A, pins.GATE_A1, pins.GATE_A2),
    (pins.SYNC_B, pins.GATE_B1, pins.GATE_B2),
)


def full_tick(record: ShotRecord, body: int) -> int | None:
    """Tick of the full-press that left the box for a body."""
    return _first(record, (FULL[body],), None)


def answer_tick(record: ShotRecord, body: int) -> int | None:
    """Tick of a body's first closing contact or lit gate sensor."""
    return _first(record, SENSES[body], None)


def _first(record: ShotRecord, channels: tuple[int, ...], after: int | None) -> int | None:
    for channel, level, tick in zip(record.channel, record.level, record.tick, strict=True):
        if level and channel in channels and (after is None or tick >= after):
            return tick
    return None


@dataclass(slots=True)
class Answers:
    """Keeps count over a series. `names` and `senses` as in SeriesPlan."""

    names: tuple[str, str]
    senses: tuple[bool, bool]
    manual_wind: bool
    silent: list[int] = field(default_factory=lambda: [0, 0])
    in_a_row: list[int] = field(default_factory=lambda: [0, 0])
    answered: list[int] = field(default_factory=lambda: [0, 0])
    _swapped: bool = False

    def judge(self, record: ShotRecord) -> list[tuple[str, str]]:
        """(kind, sentence) of everything wrong with this pair's answers."""
        said = []
        for body in range(len(BODIES)):
            if not self.senses[body] or full_tick(record, body) is None:
                continue
            if answer_tick(record, body) is not None:
                self.answered[body] += 1
                self.in_a_row[body] = 0
            else:
                self.silent[body] += 1
                self.in_a_row[body] += 1
                said.append(("no answer", self._silent_sentence(record.shot, body)))
        swapped = self._swapped_sentence(record)
        if swapped:
            said.append(("swapped", swapped))
        return said

    def given_up(self, most: int) -> str | None:
        """The sentence with which a series ends because a body stays silent, or None."""
        for body, name in enumerate(self.names):
            if self.in_a_row[body] < most:
                continue
            row = self.in_a_row[body]
            if self.answered[body] == 0:
                return (
                    f"{name} has not answered once in {row} pairs: check that its release plug is in the right socket, "
                    "that the body is on and wound, and that its sync lead or gate sensor is connected "
                    "('coincide box check')."
                )
            return (
                f"{name} answered {self.answered[body]} pairs and then {row} in a row no more: check battery, film "
                "counter, self-timer and the release plug, then run the same command again; "
                "the series goes on where it stopped."
            )
        return None

    def _silent_sentence(self, shot: int, body: int) -> str:
        if self.manual_wind:
            return f"{self.names[body]} did not answer at pair {shot}: probably it was not wound."
        return (
            f"{self.names[body]} did not answer at pair {shot}: it missed the release, or its sync contact or gate "
            "sensor was not seen."
        )

    def _swapped_sentence(self, record: ShotRecord) -> str | None:
        """Only a swap lets a body answer before its own release closed."""
        if self._swapped:
            return None
        for body, name in enumerate(self.names):
            full, answered = full_tick(record, body), answer_tick(record, body)
            if (
                full is not None
                and answered is not None
                and answered < full
                and self._other_silent_then(record, body)
            ):
                self._swapped = True
                return (
                    f"{name} answered before its own release was closed: the plugs of A and B are swapped, either the "
                    "releases or the sync leads."
                )
        return None

    def _other_silent_then(self, record: ShotRecord, body: int) -> bool:
        """Whether the other body, whose release had closed, answered only after this one's release did."""
        full = full_tick(record, body)
        other = answer_tick(record, 1 - body)
        return full is not None and (other is None or other > full)
