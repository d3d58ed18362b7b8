"""What a plan rests on, in a sentence."""

from __future__ import annotations

from coincide.planning.basis import Basis, PairsMeasured
from coincide.report.words.numbers import count, ms
from coincide.rig.calibration import preset_name


def basis_line(basis: Basis) -> str:
    """Which calibration, or which figure given by hand."""
    model = basis.model
    given = f"a jitter of {ms(model.jitter_s, model.jitter_s / 10)} given by hand"
    if basis.pairs is not None:
        return _of_pairs(basis.pairs, given if basis.given else "")
    if basis.found is None:
        return (
            f"Rests on {given}, with no calibration of {preset_name(basis.rig.exposures)} behind it: the offset is "
            "taken to be right. 'coincide calibrate' measures both."
        )
    one = basis.found.calibration
    half_s = (one.interval_s[1] - one.interval_s[0]) / 2
    jitter = given if basis.given else f"jitter {ms(one.jitter_s, one.jitter_s / 10)}"
    return (
        f"Rests on {basis.found.path.name} of {one.created[:10]}: {count(one.shots, 'pair')} at {one.preset}, "
        f"{jitter}, offset known to {ms(half_s, half_s)} (95 %)."
    )


MADE_BY = {
    "box": "timed by the box",
    "light": "read from a recording of light",
    "sound": "read from a recording of sound",
    "instrument": "read from an instrument's capture",
}


def _of_pairs(pairs: PairsMeasured, given: str) -> str:
    if pairs.path is None:
        return f"Reckoned from {count(pairs.pairs, 'pair')} of this series."
    half_s = (pairs.interval_s[1] - pairs.interval_s[0]) / 2
    jitter = given or f"jitter {ms(pairs.jitter_s, pairs.jitter_s / 10)}"
    return (
        f"Rests on {pairs.path.name} of {pairs.created[:10]}, {MADE_BY[pairs.source]}: {count(pairs.pairs, 'pair')} at "
        f"{preset_name(pairs.rig.exposures)}, {jitter}, its middle known to {ms(half_s, half_s)} (95 %)."
    )


def late_line(pairs: PairsMeasured) -> str:
    """What has to be taken off before the plan holds, where anything has."""
    half_s = (pairs.interval_s[1] - pairs.interval_s[0]) / 2
    if abs(pairs.late_s) <= half_s:
        return ""
    late, early = pairs.rig.both[::-1] if pairs.late_s > 0 else pairs.rig.both
    return (
        f"Reckoned as if the {ms(abs(pairs.late_s), half_s)} by which {late.name} comes after {early.name} were taken "
        "off, by the box's offset or the screw of a plunger. Until then every pair is that far apart."
    )
