"""What to do next, from what is in this folder: no rig yet, no calibration, an old one, or all there."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

from coincide.errors import BadInput
from coincide.rig.calibration import Found, calibrations_beside, kept_in, newest_for, stale_reasons
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
        return (str(complaint), f"Mend it, then: coincide rig check {rig_path}")
    pair = f"{rig.exposures[0]} (A) and {rig.exposures[1]} (B)"
    folders = [kept_in(rig_path, simulated=apart) / "sessions" for apart in (False, True)]
    begun = [
        apart
        for folder, apart in zip(folders, (False, True), strict=True)
        if any(folder.glob(f"{rig_path.stem}-*-calibrate.unfinished.json"))
    ]
    if False in begun:
        return (
            f"A calibration of {rig.name} was broken off; its pairs are kept.",
            "To go on with it, with the box plugged in: coincide calibrate",
        )
    found = newest_for(calibrations_beside(rig_path)[0], rig)
    if found is None or found.simulated:
        return _only_simulated(rig.name, pair, found, begun=bool(begun))
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


def _only_simulated(name: str, pair: str, found: Found | None, *, begun: bool) -> tuple[str, ...]:
    """There is no calibration that was measured; perhaps one of the simulated box."""
    none = f"{name} has no calibration for {pair} yet."
    real = "Plug the box in, then: coincide calibrate ('coincide box list' shows whether it is seen)"
    if begun:
        return (none, real, "On the simulated box one was broken off; to go on with it: coincide calibrate")
    if found is None:
        return (none, real, "Without a box the same command calibrates the simulated one: a rehearsal.")
    return (
        f"Simulated: {name} was calibrated for {pair} on the simulated box only. Nothing of it was measured.",
        real,
        "To go on with the rehearsal: coincide ready, coincide limits, coincide card",
    )


def _ago(age: timedelta) -> str:
    days = age.days
    return "today" if days < 1 else "yesterday" if days == 1 else f"{days} days ago"
