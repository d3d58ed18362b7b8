"""Light on a sound input: each bang's exposures at both channels, and what is wrong with the recording.

LightReader.take      one bang: the exposure in either channel, edge by edge
LightReader.found     the whole recording: pairs, bangs of one body alone, what is uncertain; or a refusal by name
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coincide.errors import BadInput
from coincide.recording.edges import Floats, step_edge
from coincide.recording.faults import (
    check_alike,
    clipped_near,
    gain_moved,
    is_suppressed,
    refuse_chopped,
    refuse_clicks,
    refuse_leak,
    refuse_suppression,
)
from coincide.recording.find import REACH_S, WAVES_KEPT, Bang, exposure_at, first_way, peaks, steps
from coincide.recording.parts import Uncertain, rectangle
from coincide.recording.pulse import Pulse

WINDING_S = 0.1  # what opens later than the longer marked time and this after the first edge is winding
OWN = 0.35  # of a channel's usual step, below which what is seen is the other channel's light
NOISE = 8.0
PART_OF_BLADES = 0.4  # of their time, over which a step is looked for
CELL_S = 12e-6  # of a bare diode in one of the recipes: half-width of its own delay
CLOCK_PPM = 100.0  # of a sound card's crystal


@dataclass(frozen=True, slots=True)
class LightBang:
    """Both channels of one bang, None where there is no exposure. at_s: its first edge. bang: with its wave to draw,
    for the first of both bodies."""

    at_s: float
    pulses: tuple[Pulse | None, Pulse | None]
    bang: Bang


@dataclass(frozen=True, slots=True)
class LightFound:
    """bangs: all of them, left and right. leak (2,): of either channel into the other. parts: of either channel's
    mid-exposure, in common to all pairs. exposure_parts: of its exposure. sentences: what to mind."""

    bangs: tuple[LightBang, ...]
    leak: tuple[float, float]
    parts: tuple[tuple[Uncertain, ...], tuple[Uncertain, ...]]
    exposure_parts: tuple[tuple[Uncertain, ...], tuple[Uncertain, ...]]
    sentences: tuple[str, ...]


def step_reach_s(blades_s: float) -> float:
    """Within which a step of light comes, the slower blades taking blades_s (0 without any)."""
    return max(REACH_S, PART_OF_BLADES * blades_s)


class LightReader:
    """Reads bang after bang. marked_s: the two marked shutter times, whichever channel they belong to. blades_s: how
    the slower blades take to open or close, 0 without any."""

    def __init__(
        self, rate_hz: int, marked_s: tuple[float, float], *, blades_s: float = 0.0, lossy: bool = False
    ) -> None:
        self._rate_hz = rate_hz
        self._short_s, self._long_s = min(marked_s), max(marked_s)
        self._lossy = lossy
        self._reach_s = step_reach_s(blades_s)
        self._bangs: list[LightBang] = []
        self._signs = np.zeros(2)
        # Of either channel into the other, by how sure it is that the other showed nothing of its own.
        self._leaks: tuple[tuple[list[float], list[float]], ...] = (([], []), ([], []), ([], []))
        self._waves = 0
        self._suppressed = 0
        self._chopped = 0
        self._likeness: list[float] = []

    def take(self, bang: Bang) -> LightBang:
        """Measures one bang."""
        wave = bang.wave.astype(np.float64)
        self._likeness.append(check_alike(wave))
        coarse = [self._coarse(wave[:, channel], bang, channel) for channel in (0, 1)]
        self._learn_leak(wave, coarse)
        leak = self._leak()
        if max(leak) > 0.003:
            undo = np.linalg.inv(np.array([[1.0, leak[1]], [leak[0], 1.0]]))
            wave = wave @ undo.T
            coarse = [self._coarse(wave[:, channel], bang, channel) for channel in (0, 1)]
        pulses = [self._pulse(wave[:, channel], bang, coarse[channel], channel) for channel in (0, 1)]
        ends = [at for one in coarse if one is not None for at in one[:2]]
        if is_suppressed(bang.wave, ends, self._rate_hz):
            self._suppressed += 1
        self._waves += all(pulses)
        kept = bang if all(pulses) and self._waves <= WAVES_KEPT else bang.without_wave()
        taken = LightBang((bang.first + bang.begins) / self._rate_hz, (pulses[0], pulses[1]), kept)
        self._bangs.append(taken)
        return taken

    def found(self) -> LightFound:
        """The recording as a whole. Raises BadInput where it cannot be trusted, by name."""
        bangs = tuple(self._without_leaks())
        if bangs:
            refuse_chopped(self._chopped, len(bangs))
        refuse_clicks(len(bangs), [bang.pulses for bang in bangs])
        likeness = float(np.median(self._likeness)) if self._likeness else 0.0
        refuse_alike(likeness)
        refuse_suppression(self._suppressed, len(bangs))
        leak = self._leak()
        refuse_leak(leak)
        parts, exposure_parts, said = [], [], []
        for channel, name in enumerate(("left", "right")):
            pulses = [bang.pulses[channel] for bang in bangs]
            seen = [one for one in pulses if one is not None]
            of_mid, of_exposure, sentences = self._parts(seen, leak[1 - channel], name)
            parts.append(of_mid)
            exposure_parts.append(of_exposure)
            said += sentences
        return LightFound(
            bangs, leak, (parts[0], parts[1]), (exposure_parts[0], exposure_parts[1]), tuple(said)
        )

    def _coarse(self, wave: Floats, bang: Bang, channel: int) -> tuple[int, int, float, int] | None:
        """Opening, closing, size and sign of the exposure in one channel."""
        rate = self._rate_hz
        latest = bang.begins + int((2.0 * self._long_s + self._long_s + WINDING_S) * rate)
        seen = wave[:latest]
        quiet = steps(wave[: max(bang.begins - 8, 16)], rate, self._reach_s)
        noise = 1.4826 * float(np.median(np.abs(quiet))) + 1e-5
        self._signs[channel] += first_way(seen, bang.begins)
        found = []
        for sign in (1, -1):
            one = self._of_sign(seen, bang, sign)
            if one is not None and one[2] > NOISE * noise:
                found.append((*one, sign))
        if not found:
            return None
        return next((each for each in found if self._signs[channel] * each[3] > 0), None)

    def _of_sign(self, wave: Floats, bang: Bang, sign: int) -> tuple[int, int, float] | None:
        both = [
            exposure_at(wave, self._rate_hz, marked_s, sign, self._reach_s)
            for marked_s in {self._short_s, self._long_s}
        ]
        seen = [one for one in both if one is not None]
        return max(seen, key=lambda each: each[2]) if seen else None

    def _learn_leak(self, wave: Floats, coarse: list[tuple[int, int, float, int] | None]) -> None:
        """What one channel shows at the other's edges, where it has none of its own there."""
        apart = int(0.0015 * self._rate_hz)
        for channel in (0, 1):
            own, other = coarse[channel], coarse[1 - channel]
            if own is None:
                continue
            height, beside = (
                _sharp(wave[:, each], self._rate_hz, self._reach_s) for each in (channel, 1 - channel)
            )
            for at in own[:2]:
                near = other is not None and min(abs(at - end) for end in other[:2]) < apart
                if near and other is not None and other[2] > OWN * own[2]:
                    continue
                if abs(height[at]) > 0:
                    sort = 0 if other is None else 1 if other[2] <= OWN * own[2] else 2
                    self._leaks[sort][channel].append(float(beside[at] / height[at]))

    def _leak(self) -> tuple[float, float]:
        """From bangs at which the other channel shows nothing of its own; else from those at which it shows little,
        which may be a weak light of its own; else from pairs, where an edge stands by itself."""
        best: list[list[float]] = [
            next((sort[channel] for sort in self._leaks if len(sort[channel]) >= 2), []) for channel in (0, 1)
        ]
        left, right = (float(np.median(each)) if each else 0.0 for each in best)
        return left, right

    def _pulse(
        self, wave: Floats, bang: Bang, coarse: tuple[int, int, float, int] | None, channel: int
    ) -> Pulse | None:
        if coarse is None:
            return None
        opening, closing, size, sign = coarse
        height = sign * steps(wave, self._rate_hz, self._reach_s)
        if self._is_chopped(height[opening:closing], size):
            self._chopped += 1
        exposure_s = (closing - opening) / self._rate_hz
        edges = [step_edge(wave, at, self._rate_hz, exposure_s) for at in (opening, closing)]
        first, second = edges
        if first is None or second is None or first.size * sign <= 0 or second.size * sign >= 0:
            return None
        clipped = [clipped_near(bang.wave[:, channel], round(one.at), one.ramp) for one in (first, second)]
        ats = [
            first.at + 0.5 * first.ramp * clipped[0],
            second.at - 0.5 * second.ramp * clipped[1],
        ]
        to_s = 1.0 / self._rate_hz
        return Pulse(
            (bang.first + ats[0]) * to_s,
            (bang.first + ats[1]) * to_s,
            (first.u * to_s, second.u * to_s),
            (abs(first.size), abs(second.size)),
            float(np.hypot(first.size_spread, second.size_spread)),
            0.5 * (first.ramp + second.ramp) * to_s,
            max(first.unlike, second.unlike),
            (clipped[0], clipped[1]),
        )

    def _is_chopped(self, height: Floats, size: float) -> bool:
        """Whether there are many steps as high as the edges between them, up and down, at a steady pace as clicks have
        not."""
        guard = int(0.001 * self._rate_hz)
        inner = height[guard:-guard] if len(height) > 4 * guard else height[:0]
        ups, downs = (peaks(np.where(one > 0.5 * size, one, 0.0), 4, 64) for one in (inner, -inner))
        if min(len(ups), len(downs)) < 3:
            return False
        gaps = np.diff(ups)
        return bool(np.ptp(gaps) < 0.35 * np.median(gaps))

    def _without_leaks(self) -> list[LightBang]:
        """The bangs with what is only the other channel's light taken out."""
        usual = []
        for channel in (0, 1):
            sizes = [min(one.size) for bang in self._bangs if (one := bang.pulses[channel]) is not None]
            usual.append(float(np.percentile(sizes, 75)) if sizes else 0.0)
        cleaned = []
        for bang in self._bangs:
            kept = [
                one if one is not None and min(one.size) > OWN * usual[channel] else None
                for channel, one in enumerate(bang.pulses)
            ]
            cleaned.append(LightBang(bang.at_s, (kept[0], kept[1]), bang.bang))
        return cleaned

    def _parts(
        self, pulses: list[Pulse], leak: float, name: str
    ) -> tuple[tuple[Uncertain, ...], tuple[Uncertain, ...], list[str]]:
        if not pulses:
            return (), (), []
        ramp_s = float(np.median([one.ramp_s for one in pulses]))
        ends = np.array([one.u_s for one in pulses])
        edge_u = float(np.median(np.hypot(ends[:, 0], ends[:, 1])))
        said = []
        mid = [
            Uncertain("edge of the light in the recording", 0.5 * edge_u, "normal", "less noise, no low cut"),
            rectangle("diode's own delay", CELL_S, "the same diode and circuit on both channels"),
        ]
        length = [
            Uncertain("edges of the light in the recording", edge_u, "normal", "less noise, no low cut")
        ]
        if abs(leak) > 0.003:
            mid.append(
                rectangle("leak of the other channel", 0.3 * abs(leak) * ramp_s, "another lead or adapter")
            )
        moved, sentence = gain_moved([one.size for one in pulses], [one.size_spread for one in pulses], name)
        if moved:
            said.append(sentence)
            half_s = 0.5 * moved * ramp_s
            mid.append(rectangle("gain control", half_s, "switch off automatic level"))
            length.append(rectangle("gain control", 2.0 * half_s, "switch off automatic level"))
        clipped = np.array([one.clipped for one in pulses])
        if clipped.all():
            raise BadInput(
                f"The {name} channel is overloaded at every edge, so that nobody knows where half of the light "
                f"is: turn the "
                "input down (or the torch, or put a resistor across the diode) until the tops are free, and "
                "record again."
            )
        if clipped.any():
            said.append(
                f"The {name} channel is overloaded at some edges, which widens the result: turn its input down."
            )
            off = 0.5 * ramp_s * (np.abs(np.sign(clipped.sum(axis=0))).sum())
            mid.append(rectangle("overloaded tops", 0.5 * off, "turn the input down"))
            length.append(rectangle("overloaded tops", off, "turn the input down"))
        if self._lossy:
            half_s = 0.002 if ramp_s > 0.001 else max(2.0 * ramp_s, 0.0002)
            mid.append(rectangle("lossy file", half_s, "record to WAV or FLAC"))
            length.append(rectangle("lossy file", 2.0 * half_s, "record to WAV or FLAC"))
        return tuple(mid), tuple(length), said


def _sharp(wave: Floats, rate_hz: float, reach_s: float) -> Floats:
    """Steps less what a slope on either side of them makes."""
    height, beside = steps(wave, rate_hz, reach_s), int(3.2 * reach_s * rate_hz)
    around = 0.5 * (np.roll(height, beside) + np.roll(height, -beside))
    return np.asarray(height - around)


def refuse_alike(likeness: float) -> None:
    """Raises BadInput where both channels are one and the same."""
    if likeness > 0.99:
        raise BadInput(
            "Left and right are the same signal: the recording is mono, or a lead joins both channels. Take an "
            "input with two "
            "channels and one diode on each, or a lead that keeps left and right apart, and record again."
        )
    if likeness < -0.99:
        raise BadInput(
            "Right is left turned over: that is a balanced socket, which hears one signal twice. Take an input "
            "with two "
            "separate channels, and record again."
        )
