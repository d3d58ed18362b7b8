"""What to do next, from what is in this folder: no rig yet, no calibration, an old one, or all there."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

from coincide.errors import BadInput
from coincide.rig.calibration import calibrations_beside, newest_for, stale_reasons
from coincide.rig.file import load_rig

OLD = timedelta(days=30)  # batteries, oil and cold move lags over weeks; common practice, no source


def next_step(rig_path: Path, now: datetime) -> tuple[str, ...]:
    """Sentences: what there is, then the command to run. `now` with its zone."""
    if not rig_path.exists():
        return (
            f"There is no {rig_path.name} here yet.",
            "To look round without hardware: coincide demo",
            "To begin with your own rig: coincide rig new",
        )
    try:
        rig = load_rig(rig_path)
    except BadInput as complaint:
        return (str(complaint), f"Mend it, then: coincide rig check {rig_path.name}")
    pair = f"{rig.exposures[0]} (A) and {rig.exposures[1]} (B)"
    begun = list((rig_path.parent / "sessions").glob(f"{rig_path.stem}-*-calibrate.unfinished.json"))
    if begun:
        return (
            f"A calibration of {rig.name} was broken off; its pairs are kept.",
            "To go on with it: coincide calibrate (with --port PORT on the box)",
        )
    found = newest_for(calibrations_beside(rig_path)[0], rig)
    if found is None:
        return (
            f"{rig.name} has no calibration for {pair} yet.",
            "With the box: coincide calibrate --port PORT ('coincide box list' finds it)",
            "On the simulated box: coincide calibrate",
        )
    stale = stale_reasons(found.calibration, rig)
    if stale:
        return (
            *stale,
            f"The calibration {found.path.name} no longer holds. Calibrate again: coincide calibrate",
        )
    age = now - datetime.fromisoformat(found.calibration.created)
    said = f"{rig.name} was calibrated for {pair} {_ago(age)}."
    if age > OLD:
        return (said, "See whether it still holds: coincide ready")
    return (
        said,
        "Before a shoot: coincide ready",
        "What it can photograph: coincide limits, or coincide card for the camera bag",
    )


def _ago(age: timedelta) -> str:
    days = age.days
    return "today" if days < 1 else "yesterday" if days == 1 else f"{days} days ago"
