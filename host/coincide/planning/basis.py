"""What a plan rests on: which calibration, what it says of the skew, and what is doubtful about it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from coincide.errors import BadInput
from coincide.planning.skew_model import COVER_95, SkewModel, skew_model
from coincide.rig.calibration import (
    BODY_LETTERS,
    Found,
    changed_since,
    newest_for,
    preset_name,
    stale_reasons,
)
from coincide.rig.model import Rig


@dataclass(frozen=True, slots=True)
class PairsMeasured:
    """A session's pairs as a plan needs them; seconds. path: None for the very series that is reported. rig: as it
    was. source: 'box', or of a recording 'light', 'sound' or 'instrument'. late_s: what is left of the skew (B after
    A), to be taken off; interval_s: its 95 % interval. simulated: nothing of it was measured."""

    rig: Rig
    pairs: int
    jitter_s: float
    late_s: float
    interval_s: tuple[float, float]
    path: Path | None = None
    created: str = ""
    source: str = "box"
    named: bool = True
    simulated: bool = False


@dataclass(frozen=True, slots=True)
class Basis:
    """A rig, the skew it is reckoned to have, and where that is from.

    found: the newest calibration of the rig's pair of shutter times, or None. given: the jitter was given by
    hand. pairs: what was measured of them in a session, where it rests on that instead. doubts: why what it rests on
    may no longer hold, a sentence each.
    """

    rig: Rig
    model: SkewModel
    found: Found | None
    given: bool
    doubts: tuple[str, ...]
    pairs: PairsMeasured | None = None

    @property
    def simulated(self) -> bool:
        """Whether it rests on a simulated box: then nothing behind it was measured."""
        if self.pairs is not None:
            return self.pairs.simulated
        return self.found is not None and self.found.simulated

    @property
    def shots(self) -> int | None:
        """How many pairs the offset rests on, where that is known."""
        if self.pairs is not None:
            return self.pairs.pairs
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


def basis_of_pairs(rig: Rig, pairs: PairsMeasured, jitter_s: float | None = None) -> Basis:
    """What was measured in one session, calibration or not; a jitter given by hand wins over its own.

    Raises BadInput where the session is of another pair of shutter times than the rig is set to."""
    if pairs.rig.exposures != rig.exposures:
        keys = " and ".join(f"bodies.{letter}.shutter.exposure" for letter in BODY_LETTERS)
        raise BadInput(
            f"{pairs.path or 'The session'} was made at {preset_name(pairs.rig.exposures)}, the rig is set to "
            f"{preset_name(rig.exposures)}: the skew is another at other times. Set {keys} to it, or name a "
            "session of these."
        )
    half_s = (pairs.interval_s[1] - pairs.interval_s[0]) / 2
    model = skew_model(
        rig, jitter_s=pairs.jitter_s if jitter_s is None else jitter_s, offset_u_s=half_s / COVER_95
    )
    where = "this series" if pairs.path is None else f"session: {pairs.path.name}"
    sources = {"standard uncertainty of the offset": f"{where}, its 95 % interval, half its width over 1.96"}
    if jitter_s is None:
        sources["jitter"] = f"{where}, jitter"
    chain = tuple(replace(link, source=sources.get(link.name, link.source)) for link in model.chain)
    doubts = changed_since(pairs.rig, rig, "when the session was made", names=pairs.named)
    return Basis(rig, replace(model, chain=chain), None, jitter_s is not None, doubts, pairs)


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
