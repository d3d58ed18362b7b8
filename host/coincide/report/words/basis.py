"""What a plan rests on, in a sentence."""

from __future__ import annotations

from coincide.planning.basis import Basis
from coincide.report.words.numbers import count, ms
from coincide.rig.calibration import preset_name


def basis_line(basis: Basis) -> str:
    """Which calibration, or which figure given by hand."""
    model = basis.model
    if basis.series_pairs is not None:
        return f"Reckoned from {count(basis.series_pairs, 'pair')} of this series."
    given = f"a jitter of {ms(model.jitter_s, model.jitter_s / 10)} given by hand"
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
