"""Gathering what is known before a series: learned of the bodies, and the box's zero check."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from coincide.cli.show import aside

if TYPE_CHECKING:
    from coincide.rig.model import Rig
    from coincide.timing.known import Zero


def knowledge(rig: Rig, rig_path: Path, box_uid: str) -> dict[str, Any]:
    """The table for a session's header. What cannot be read or used is said, and left out."""
    from coincide.rig.calibration import calibrations_beside, learned_for
    from coincide.timing.known import Known, known_table

    found, complaints = calibrations_beside(rig_path)
    for complaint in complaints:
        aside(complaint)
    return known_table(Known((learned_for(found, rig, 0), learned_for(found, rig, 1)), _zero(box_uid)))


def _zero(box_uid: str) -> Zero | None:
    from coincide.box.bench_record import zero_correction
    from coincide.timing.known import Zero

    correction = zero_correction(box_uid)
    if correction is None:
        return None
    if correction.stale is not None:
        aside(f"{correction.stale} Until then it is not subtracted.")
        return None
    zero = correction.zero
    return Zero(zero.skew_s, zero.u_skew_s, zero.loop_s, zero.u_loop_s, correction.made_at)
