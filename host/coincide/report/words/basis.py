"""What a plan rests on: which calibration, what it says of the skew, and what is doubtful about it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from coincide.errors import BadInput
from coincide.planning.skew_model import SkewModel, skew_model
from coincide.report.words.numbers import count, ms
from coincide.rig.calibration import BODY_LETTERS, Found, newest_for, preset_name, stale_reasons
from coincide.rig.model import Rig


@dataclass(frozen=True, slots=True)
class Basis:
    """A rig, the skew it is reckoned to have, and where that is from.

    found: the newest calibration of the rig's pair of shutter times, or None. given: the jitter was given by
    hand. say: what it rests on, in a sentence. doubts: why that may no longer hold, a sentence each.
    """

    rig: Rig
    model: SkewModel
    found: Found | None
    given: bool
    say: str
    doubts: tuple[str, ...]

    @property
    def shots(self) -> int | None:
        """How many pairs the offset rests on, where a calibration says so."""
        return None if self.found is None else self.found.calibration.shots


def basis_of(rig: Rig, found: Iterable[Found], jitter_s: float | None = None) -> Basis:
    """The newest calibration of the pair that is set; a jitter given by hand wins over its own.

    Raises BadInput where there is neither, naming what there is instead.
    """
    everything = tuple(found)
    chosen = newest_for(everything, rig)
    if chosen is None and jitter_s is None:
        raise BadInput(_nothing_known(rig, everything))
    calibration = None if chosen is None else chosen.calibration
    model = skew_model(rig, calibration, jitter_s=jitter_s)
    doubts = () if calibration is None else stale_reasons(calibration, rig)
    return Basis(rig, model, chosen, jitter_s is not None, _say(rig, model, chosen, jitter_s), doubts)


def _say(rig: Rig, model: SkewModel, chosen: Found | None, jitter_s: float | None) -> str:
    given = f"a jitter of {ms(model.jitter_s, model.jitter_s / 10)} given by hand"
    if chosen is None:
        return (
            f"Rests on {given}, with no calibration of {preset_name(rig.exposures)} behind it: the offset is taken "
            "to be right. 'coincide calibrate' measures both."
        )
    one = chosen.calibration
    half_s = (one.interval_s[1] - one.interval_s[0]) / 2
    jitter = given if jitter_s is not None else f"jitter {ms(one.jitter_s, one.jitter_s / 10)}"
    return (
        f"Rests on {chosen.path.name} of {one.created[:10]}: {count(one.shots, 'pair')} at {one.preset}, {jitter}, "
        f"offset known to {ms(half_s, half_s)} (95 %)."
    )


def _nothing_known(rig: Rig, everything: tuple[Found, ...]) -> str:
    pair = preset_name(rig.exposures)
    say = f"There is no calibration of {pair} beside the rig, so nothing is known of its jitter: "
    others = sorted({one.calibration.preset for one in everything} - {pair})
    if others:
        keys = " and ".join(f"bodies.{letter}.shutter.exposure" for letter in BODY_LETTERS)
        say += f"there is one of {', '.join(others)} (set {keys} to it), or "
    return say + "run 'coincide calibrate', or let a figure stand in, such as --jitter '1 ms'."
