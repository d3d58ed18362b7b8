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

KINDS = tuple(
    (("sync leads", (sync,)), ("gate sensors", (gate_1, gate_2))) for sync, gate_1, gate_2 in SENSES
)

# At 125 MHz 80 ms and 0.8 ms: no bounce comes so late and no flick lasts so long. Only a sentence hangs on it.
AGAIN_TICKS = 10_000_000
EXPOSURE_TICKS = 100_000
PULSE_TICKS = 50_000  # 0.4 ms at 125 MHz


def full_tick(record: ShotRecord, body: int) -> int | None:
    """Tick of the full-press that left the box for a body."""
    return _first(record, (FULL[body],))


def answer_tick(record: ShotRecord, body: int) -> int | None:
    """Tick of a body's first closing contact or lit gate sensor."""
    return _first(record, SENSES[body])


def _first(record: ShotRecord, channels: tuple[int, ...]) -> int | None:
    for channel, level, tick in zip(record.channel, record.level, record.tick, strict=True):
        if level and channel in channels:
            return tick
    return None


def _first_held(record: ShotRecord, channels: tuple[int, ...]) -> int | None:
    """Tick of the first closing that lasts: one solenoid may put a short pulse on the other body's lead."""
    closed_at: dict[int, int] = {}
    held: list[int] = []
    for channel, level, tick in zip(record.channel, record.level, record.tick, strict=True):
        if channel not in channels:
            continue
        if level:
            closed_at[channel] = tick
        elif tick - closed_at.get(channel, tick) > PULSE_TICKS:
            held.append(closed_at.pop(channel))
        else:
            closed_at.pop(channel, None)
    return min([*held, *closed_at.values()], default=None)


def swapped_plugs(record: ShotRecord, names: tuple[str, str]) -> str | None:
    """The sentence for swapped plugs, or None. Only a swap lets a body answer before its own release closed,
    so a pair fired nearly at once shows nothing."""
    for body, name in enumerate(names):
        full = full_tick(record, body)
        if full is None:
            continue
        early = [kind for kind, channels in KINDS[body] if _is_before(_first_held(record, channels), full)]
        honest = [kind for kind, channels in KINDS[body] if _is_after(_first_held(record, channels), full)]
        if not early:
            continue
        if honest:
            what = f"the {early[0]} of A and B are swapped; swap them back"
        elif len(early) == len(KINDS[body]):
            what = "the releases of A and B are swapped (or both their sync leads and gate sensors); swap them back"
        else:
            what = f"either the releases or the {early[0]} of A and B are swapped; swap one of them back"
        return f"{name} answered before its own release was closed: {what}."
    return None


def _is_before(tick: int | None, full: int) -> bool:
    return tick is not None and tick < full


def _is_after(tick: int | None, full: int) -> bool:
    return tick is not None and tick >= full


def _fired_twice(record: ShotRecord, body: int) -> bool:
    """A second exposure in the same pair: a closing long after the first, too long for a contact that flicks."""
    first = _first_held(record, SENSES[body])
    closed_at: dict[int, int] = {}
    for channel, level, tick in zip(record.channel, record.level, record.tick, strict=True):
        if channel not in SENSES[body]:
            continue
        if level:
            closed_at[channel] = tick
            continue
        since = closed_at.pop(channel, tick)
        if first is not None and since - first > AGAIN_TICKS and tick - since > EXPOSURE_TICKS:
            return True
    return False


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
        """(kind, sentence) of everything wrong with this pair's answers; nothing where edges were lost."""
        said: list[tuple[str, str]] = []
        if record.lost:
            return said
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
            if _fired_twice(record, body):
                said.append(("fired twice", self._twice_sentence(record.shot, body)))
        swapped = None if self._swapped else swapped_plugs(record, self.names)
        if swapped is not None:
            self._swapped = True
            # What else seems wrong with a pair heard through the wrong plugs would only mislead.
            return [("swapped", swapped)]
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

    def _twice_sentence(self, shot: int, body: int) -> str:
        return (
            f"{self.names[body]} fired twice at pair {shot}: set its drive to single frames; if it is, shorten the "
            "closure."
        )
