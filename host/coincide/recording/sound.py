"""Contact microphones on a sound input: how much later one body's curtains sound than the other's.

    own stretches    in each body's train, two stretches alike, about the marked time apart: first curtain and second
    shifts           either stretch of one body matched with the same of the other, apart
    skew             the mean of both shifts; their difference is that of the exposures

Whole trains are never matched: unequal exposures would make that wrong without a sign of it. Mirror and winder are
left out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coincide.errors import BadInput
from coincide.recording.clicks import HOP_S, powers, rises
from coincide.recording.edges import Floats
from coincide.recording.faults import check_alike
from coincide.recording.find import WAVES_KEPT, Bang, peaks
from coincide.recording.light import WINDING_S, refuse_alike
from coincide.recording.parts import Uncertain, rectangle

UNLIKE_TIMES = 0.03  # marked times farther apart than this are unequal
NEAR = 0.93  # of the best match, above which another is as good
AGREED = 0.95  # of the best over all bangs together, above which another skew is as good
FEWEST_AGREE = 5
FAR_S = 0.0015  # a match this far from the best is another one
MOST_CROSSED = 0.01  # 20 dB
SOUNDING = 0.2  # of a channel's usual power, above which its own body sounds
ALIKE_U_S = 0.0008  # from click to opening, between two bodies of a kind; common practice, no source
USUAL_TIMES = 0.2  # standard deviation of what is believed of that beforehand, generous
CHOICES = 6
SPREAD_TIMES = 0.3  # a true exposure may differ by from its mark
BUZZ = 6
AROUND_S = 0.001


@dataclass(frozen=True, slots=True)
class Train:
    """One body's sound in one bang: when its first and second stretch begin (seconds from the recording's start)."""

    first_s: float
    second_s: float


@dataclass(frozen=True, slots=True)
class SoundBang:
    """trains of left and right, None for a silent one. shifts_s: right after left, of either stretch; None without both
    or where it cannot be told, because `why_not`."""

    at_s: float
    trains: tuple[Train | None, Train | None]
    shifts_s: tuple[float, float] | None
    why_not: str
    bang: Bang


@dataclass(frozen=True, slots=True)
class SoundFound:
    """bangs: all. crossed (2,): part of the power of (left, right) heard in the other channel; NaN where unknown.
    parts: of either channel's middle, in common. sentences: what to mind."""

    bangs: tuple[SoundBang, ...]
    crossed: tuple[float, float]
    parts: tuple[tuple[Uncertain, ...], tuple[Uncertain, ...]]
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Heard:
    bang: Bang
    power: Floats
    begins: int
    loud: tuple[float, float]


@dataclass(frozen=True, slots=True)
class _Stretches:
    """Two stretches alike in one body's train, in hops: start of the first, way to the second; how alike; blows
    between."""

    start: int
    lag: int
    score: float
    buzz: int


@dataclass(frozen=True, slots=True)
class _Matched:
    """A choice for either body; shifts of first and second stretch, in hops."""

    left: _Stretches
    right: _Stretches
    shifts: tuple[float, float]
    score: float

    @property
    def skew(self) -> float:
        """In hops."""
        return 0.5 * (self.shifts[0] + self.shifts[1])


MEND = (
    "-20 dB or less is asked for. Microphones in the air cannot tell two bodies apart: tape one contact "
    "microphone to each. "
    "Or the bodies stand on one plate, which makes every rig look well adjusted: put each on its own folded "
    "towel, half a "
    "metre apart, and record again."
)


class SoundReader:
    """Reads bang after bang. marked_s, travel_s: of both bodies; travel 0 for blades and rows."""

    def __init__(self, rate_hz: int, marked_s: tuple[float, float], travel_s: tuple[float, float]) -> None:
        if abs(marked_s[0] - marked_s[1]) > UNLIKE_TIMES * max(marked_s):
            raise BadInput(
                "Not measurable by sound, because the two bodies are set to unequal times: what lies between click and "
                "opening is then not the same in both. Set both to the same time, or record light."
            )
        if abs(travel_s[0] - travel_s[1]) > 0.25 * max(travel_s):
            raise BadInput(
                "Not measurable by sound, because the two shutters are of different kinds: what lies between click and "
                "opening is not the same in both. Record light."
            )
        self._rate_hz = rate_hz
        self._marked_s = float(np.mean(marked_s))
        self._travel_s = float(np.mean(travel_s))
        self._heard: list[_Heard] = []
        self._likeness: list[float] = []

    def take(self, bang: Bang) -> None:
        """Keeps the loudness of one bang, an eighth of a millisecond a value."""
        wave = bang.wave.astype(np.float64)
        self._likeness.append(check_alike(wave))
        latest = bang.begins + int((self._marked_s * (1.0 + SPREAD_TIMES) + WINDING_S + 0.02) * self._rate_hz)
        power = powers(wave[:latest], self._rate_hz)
        begins = int(bang.begins / self._rate_hz / HOP_S)
        top = [float(np.sort(power[:, channel])[-8:].mean()) for channel in (0, 1)]
        kept = bang if len(self._heard) < WAVES_KEPT else bang.without_wave()
        self._heard.append(_Heard(kept, power, begins, (top[0], top[1])))

    def found(self) -> SoundFound:
        """The recording as a whole. Raises BadInput where it cannot be trusted, by name."""
        if not self._heard:
            raise BadInput(
                "Nothing is heard in this recording: check that the microphones are on the recorded input and "
                "the level is up."
            )
        refuse_alike(float(np.median(self._likeness)))
        usual = [float(np.percentile([one.loud[channel] for one in self._heard], 75)) for channel in (0, 1)]
        sounding = [
            tuple(one.loud[channel] > SOUNDING * usual[channel] for channel in (0, 1)) for one in self._heard
        ]
        crossed, said = self._crossed(sounding)
        matched = [
            self._matches(one, sound, crossed) for one, sound in zip(self._heard, sounding, strict=True)
        ]
        agreed = _agreed([one for one in matched if isinstance(one, tuple)])
        bangs = tuple(
            self._measure(one, of_it, agreed) for one, of_it in zip(self._heard, matched, strict=True)
        )
        both = [one for one in bangs if all(one.trains) or one.why_not]
        told = [one for one in both if one.shifts_s is not None]
        if both and len(told) < 0.5 * len(both):
            why = max({one.why_not for one in both if one.why_not}, key=[one.why_not for one in both].count)
            raise BadInput(f"Not measurable by sound, because {why}")
        part = tuple(self._parts(crossed, channel) for channel in (0, 1))
        return SoundFound(bangs, crossed, (part[0], part[1]), tuple(said))

    def _crossed(self, sounding: list[tuple[bool, ...]]) -> tuple[tuple[float, float], list[str]]:
        """Part of either channel's power that the other hears: from bangs of one body alone, else a bound from
        pairs."""
        found: list[float] = []
        said: list[str] = []
        for channel, (name, other) in enumerate((("left", "right"), ("right", "left"))):
            alone = [
                heard.loud[1 - channel] / heard.loud[channel]
                for heard, sound in zip(self._heard, sounding, strict=True)
                if sound[channel] and not sound[1 - channel]
            ]
            if len(alone) >= 2:
                part = float(np.median(alone))
                if part > 0.5:
                    raise BadInput(
                        f"Nothing of its own is heard on the {other} channel: its body did not fire, or its "
                        f"microphone is "
                        "not connected. Look after that, and record again."
                    )
                if part > MOST_CROSSED:
                    raise BadInput(f"The {other} microphone hears the {name} body at {_db(part)}; {MEND}")
            else:
                part = float(
                    np.median([np.percentile(_ratio(one.power, channel), 10) for one in self._heard])
                )
                if part > MOST_CROSSED:
                    raise BadInput(
                        f"Whether the {other} microphone hears the {name} body cannot be told, as both sound at once "
                        f"({_db(part)} at the least): begin with three bangs of one body alone, then three of "
                        f"the other. "
                        f"It may be that {MEND}"
                    )
            found.append(part)
        return (found[0], found[1]), said

    def _matches(
        self, heard: _Heard, sound: tuple[bool, ...], crossed: tuple[float, float]
    ) -> tuple[_Matched, ...] | SoundBang:
        """All ways to match both bodies in one bang, best first; or, where there are none, what the bang is instead."""
        rise = rises(heard.power, (crossed[1], crossed[0]), heard.begins)
        origin_s, at_s = self._times(heard.bang)
        choices = [self._stretches(rise[:, channel]) if sound[channel] else () for channel in (0, 1)]
        if not all(sound):
            alone = [self._train(each[0], origin_s) if each else None for each in choices]
            return SoundBang(at_s, (alone[0], alone[1]), None, "", heard.bang)
        if not all(choices):
            why = "the curtains' clicks do not stand out: record slower times (1/15 to 1/4), microphones taped firmly."
            return SoundBang(at_s, (None, None), None, why, heard.bang)
        found = self._together(rise, choices[0], choices[1])
        if not found:
            why = "the two bodies do not sound alike enough to be matched: record light."
            return SoundBang(at_s, (None, None), None, why, heard.bang)
        return found

    def _times(self, bang: Bang) -> tuple[float, float]:
        """When its wave begins and when it does itself, seconds from the recording's start."""
        origin_s = bang.first / self._rate_hz
        return origin_s, origin_s + bang.begins / self._rate_hz

    def _measure(
        self, heard: _Heard, matched: tuple[_Matched, ...] | SoundBang, agreed: float | None
    ) -> SoundBang:
        """agreed: the skew (hops) on which the bangs agree among themselves, None where they do not."""
        if isinstance(matched, SoundBang):
            return matched
        origin_s, at_s = self._times(heard.bang)
        best = matched[0]
        if agreed is not None:
            near = [one for one in matched if abs(one.skew - agreed) * HOP_S <= FAR_S]
            best = near[0] if near and near[0].score > NEAR * best.score else best
        rivals = [one.score for one in matched if abs(one.skew - best.skew) * HOP_S > FAR_S]
        trains = (self._train(best.left, origin_s), self._train(best.right, origin_s))
        if max(best.left.buzz, best.right.buzz) > BUZZ:
            why = "the shutter buzzes between its curtains (its slow-speed train): take a time without it, or light."
        elif max(rivals, default=0.0) > NEAR * best.score and agreed is None:
            why = "the curtains' clicks cannot be told from their neighbours: set a slower time, or record light."
        elif agreed is not None and abs(best.skew - agreed) * HOP_S > FAR_S:
            why = "its clicks do not fit those of the other bangs."
        else:
            return SoundBang(at_s, trains, (best.shifts[0] * HOP_S, best.shifts[1] * HOP_S), "", heard.bang)
        return SoundBang(at_s, trains, None, why, heard.bang)

    @property
    def _stretch(self) -> int:
        """Length of a curtain's stretch, in hops."""
        return int((max(self._travel_s, 0.003) * 1.15 + 0.002) / HOP_S)

    def _train(self, one: _Stretches, origin_s: float) -> Train:
        return Train(origin_s + one.start * HOP_S, origin_s + (one.start + one.lag) * HOP_S)

    def _stretches(self, rise: Floats) -> tuple[_Stretches, ...]:
        """The likeliest places of two stretches alike, about the marked time apart, best first."""
        low, high = (int(self._marked_s * (1.0 + side * SPREAD_TIMES) / HOP_S) for side in (-1, 1))
        if len(rise) < high + 2 * self._stretch:
            rise = np.concatenate([rise, np.zeros(high + 2 * self._stretch - len(rise))])
        lags = np.arange(low, high + 1)
        best, place = np.zeros(len(lags)), np.zeros(len(lags), np.int64)
        for index, lag in enumerate(lags.tolist()):
            total = np.concatenate([[0.0], np.cumsum(np.sqrt(rise[:-lag] * rise[lag:]))])
            sums = total[self._stretch :] - total[: -self._stretch]
            place[index] = int(np.argmax(sums))
            best[index] = sums[place[index]]
        off = (lags * HOP_S / self._marked_s - 1.0) / USUAL_TIMES
        best *= np.exp(-0.5 * off**2)
        chosen = peaks(np.concatenate([[0.0], best, [0.0]]), int(0.75e-3 / HOP_S), CHOICES) - 1
        found = [
            _Stretches(
                int(place[at]),
                int(lags[at]),
                float(best[at]),
                self._buzz(rise, int(place[at]), int(lags[at])),
            )
            for at in chosen
            if best[at] > 0.0
        ]
        return tuple(sorted(found, key=lambda one: -one.score))

    def _buzz(self, rise: Floats, start: int, lag: int) -> int:
        """How many blows there are between the two stretches."""
        between = rise[start + self._stretch : start + lag - int(0.001 / HOP_S)]
        strong = 0.4 * float(rise[start : start + self._stretch].max(initial=0.0))
        inner = between[1:-1]
        crests = (
            (inner > between[:-2]) & (inner >= between[2:]) & (inner > strong)
            if len(between) > 2
            else inner[:0]
        )
        return int(np.count_nonzero(crests))

    def _together(
        self, rise: Floats, left: tuple[_Stretches, ...], right: tuple[_Stretches, ...]
    ) -> tuple[_Matched, ...]:
        """Every choice for both bodies, the one that agrees best with itself first."""
        all_of_them = []
        for mine in left:
            for theirs in right:
                first = self._shift(rise, mine.start, theirs.start - mine.start)
                second = self._shift(
                    rise, mine.start + mine.lag, theirs.start + theirs.lag - mine.start - mine.lag
                )
                if first is not None and second is not None:
                    score = mine.score + theirs.score + first[1] + second[1]
                    all_of_them.append(_Matched(mine, theirs, (first[0], second[0]), score))
        return tuple(sorted(all_of_them, key=lambda one: -one.score))

    def _shift(self, rise: Floats, start: int, about: int) -> tuple[float, float] | None:
        """How many hops later right sounds than left in the stretch from `start`, and how well that fits; None at
        the end of the search."""
        around, reach = int(AROUND_S / HOP_S), int(0.0025 / HOP_S)
        first, last = max(start - around, 0), start + self._stretch + around
        mine = np.sqrt(rise[first:last, 0])
        begin, end = first + about - reach, first + about + reach + len(mine)
        if begin < 0:
            return None
        theirs = np.sqrt(rise[begin:end, 1])
        theirs = np.concatenate([theirs, np.zeros(end - begin - len(theirs))])
        match = np.correlate(theirs, mine, "valid")
        top = int(np.argmax(match))
        if match[top] <= 0.0 or not 0 < top < len(match) - 1:
            return None
        a, b, c = match[top - 1 : top + 2]
        bend = a - 2.0 * b + c
        return about - reach + top + (0.5 * float((a - c) / bend) if bend else 0.0), float(b)

    def _parts(self, crossed: tuple[float, float], channel: int) -> tuple[Uncertain, ...]:
        parts = [
            Uncertain(
                "from click to opening, in bodies of a kind",
                ALIKE_U_S / np.sqrt(2.0),
                "normal",
                "record light instead",
            ),
            Uncertain("matching of the clicks", 0.0003 / np.sqrt(2.0), "normal", "record light instead"),
        ]
        part = crossed[1 - channel]
        if part > 0.1 * MOST_CROSSED:
            parts.append(rectangle("the other body heard", 0.0003, "towels under both bodies, farther apart"))
        return tuple(parts)


def _agreed(bangs: list[tuple[_Matched, ...]]) -> float | None:
    """The skew (hops) that serves all bangs best together, or None where another, too far off to be jitter, serves them
    nearly as well. What looks like a neighbour's click in one bang does not do so in all of them."""
    if len(bangs) < FEWEST_AGREE:
        return None
    skews = np.array(sorted(one.skew for bang in bangs for one in bang))
    served = np.zeros(len(skews))
    for bang in bangs:
        apart = np.abs(np.array([one.skew for one in bang])[:, None] - skews[None, :]) * HOP_S
        score = np.array([one.score for one in bang])[:, None] / bang[0].score
        served += np.where(apart <= FAR_S, score, 0.0).max(axis=0) / len(bangs)
    best = int(np.argmax(served))
    close = skews[served > served[best] - 1e-9]
    centre = float(np.median(close))
    rival = float(served[np.abs(skews - centre) * HOP_S > 2.0 * FAR_S].max(initial=0.0))
    return centre if rival < AGREED * served[best] else None


def _db(part: float) -> str:
    return f"{10.0 * np.log10(max(part, 1e-12)):.0f} dB"


def _ratio(power: Floats, channel: int) -> Floats:
    """Power in the other channel over that in this one, where this one is loud."""
    own = power[:, channel]
    loud = own > 0.05 * own.max()
    return np.asarray(power[loud, 1 - channel] / own[loud])
