"""Gathering what is known before a series: learned of the bodies, the box's zero check, its circuits."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from coincide.bench.check.record import fitted, zero_correction
from coincide.bench.person import Person
from coincide.rig.calibration import calibrations_beside, learned_for
from coincide.timing.budget.known import MEASURE_ZERO, Known, Wiring, WiringTerm, Zero, known_table

if TYPE_CHECKING:
    from coincide.box.cable.answers import BoxIdentity
    from coincide.rig.model import Rig


def knowledge(rig: Rig, rig_path: Path, box: BoxIdentity, person: Person) -> dict[str, Any]:
    """The table for a session's header. What cannot be read or used is said, and left out."""
    found, complaints = calibrations_beside(rig_path, simulated=box.simulated)
    for complaint in complaints:
        person.tell(complaint)
    zero, stale = _zero(box.uid)
    if stale is not None:
        person.tell(f"{stale} {MEASURE_ZERO}")
    learned = (learned_for(found, rig, 0), learned_for(found, rig, 1))
    return known_table(Known(learned, zero, stale, fitted_wiring(box.uid, zero_checked=zero is not None)))


def known_now(rig: Rig, rig_path: Path, box: BoxIdentity) -> Known:
    """Learned of the bodies by any calibration beside the rig, and the zero check in force: what a preset rests on."""
    found, _ = calibrations_beside(rig_path, simulated=box.simulated)
    return Known((learned_for(found, rig, 0), learned_for(found, rig, 1)), _zero(box.uid)[0])


def fitted_wiring(box_uid: str, *, zero_checked: bool) -> Wiring | None:
    """The circuits fitted, with their timing terms before or after a zero check; None where nobody said."""
    from coincide_wiring.figures.build import timing_terms

    found = fitted(box_uid)
    if found is None:
        return None
    build = found.build
    # Both routes' terms; those of the lag and the prediction are the same in either.
    terms = dict.fromkeys(one for how in ("sync", "gate") for one in timing_terms(build, zero_checked, how))
    return Wiring(
        build.sync,
        build.release,
        build.gate,
        found.made_at,
        tuple(WiringTerm(one.name, one.signal, one.body, one.enters, one.delay_s, one.u_s) for one in terms),
    )


def _zero(box_uid: str) -> tuple[Zero | None, str | None]:
    """The zero check to subtract; or None, and why there is one that must not be."""
    correction = zero_correction(box_uid)
    if correction is None:
        return None, None
    if correction.stale is not None:
        return None, correction.stale
    zero = correction.zero
    return Zero(zero.skew_s, zero.u_skew_s, zero.loop_s, zero.u_loop_s, correction.made_at), None
