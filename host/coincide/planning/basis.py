"""What a plan rests on: which calibration, what it says of the skew, and what is doubtful about it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from coincide.errors import BadInput
from coincide.planning.skew_model import SkewModel, skew_model
from coincide.rig.calibration import BODY_LETTERS, Found, newest_for, preset_name, stale_reasons
from coincide.rig.model import Rig


@dataclass(frozen=True, slots=True)
class Basis:
    """A rig, the skew it is reckoned to have, and where that is from.

    found: the newest calibration of the rig's pair of shutter times, or None. given: the jitter was given by
    hand. series_pairs: how many pairs of a series it was reckoned from instead, or None. doubts: why the
    calibration may no longer hold, a sentence each.
    """

    rig: Rig
    model: SkewModel
    found: Found | None
    given: bool
    doubts: tuple[str, ...]
    series_pairs: int | None = None

    @property
    def simulated(self) -> bool:
        """Whether it rests on a simulated calibration: then nothing behind it was measured."""
        return self.found is not None and self.found.simulated

    @property
    def shots(self) -> int | None:
        """How many pairs the offset rests on, where a calibration says so."""
        return None if self.found is None else self.found.calibration.shots


def basis_of(
    rig: Rig, found: Iterable[Found], jitter_s: float | None = None, *, stand_in: bool = True
) -> Basis:
    """The newest calibration of the pair that is set; a jitter given by hand wins over its own.

    Raises BadInput where there is neither, naming what there is instead; without `stand_in` a jitter alone will not do.
    """
    everything = tuple(found)
    chosen = newest_for(everything, rig)
    if chosen is None and (jitter_s is None or not stand_in):
        raise BadInput(_nothing_known(rig, everything, stand_in=stand_in))
    calibration = None if chosen is None else chosen.calibration
    model = skew_model(rig, calibration, jitter_s=jitter_s)
    doubts = () if calibration is None else stale_reasons(calibration, rig)
    return Basis(rig, model, chosen, jitter_s is not None, doubts)


def _nothing_known(rig: Rig, everything: tuple[Found, ...], *, stand_in: bool) -> str:
    pair = preset_name(rig.exposures)
    unknown = "of its jitter" if stand_in else "of what to set"
    say = f"There is no calibration of {pair} beside the rig, so nothing is known {unknown}: "
    others = sorted({one.calibration.preset for one in everything} - {pair})
    if others:
        keys = " and ".join(f"bodies.{letter}.shutter.exposure" for letter in BODY_LETTERS)
        say += f"there is one of {', '.join(others)} (set {keys} to it), or "
    otherwise = ", or let a figure stand in, such as --jitter '1 ms'" if stand_in else ""
    return f"{say}run 'coincide calibrate'{otherwise}."
