"""What the box needs to know to judge frames alone in the field: a calibration as whole nanoseconds."""

from __future__ import annotations

import math
from dataclasses import fields, replace

from coincide.rig.calibration import Calibration, Learned
from coincide.rig.model import Rig
from coincide.timing.budget.known import Known
from coincide.timing.shutter.sync import sync_to_mid_s
from coincide_firmware.app.settings import HOW_NONE, HOW_SYNC, NAME_MOST

NS = 1e9
NOTHING_KNOWN = Known()


def box_preset(rig: Rig, calibration: Calibration, known: Known = NOTHING_KNOWN) -> dict[str, int | str]:
    """The preset of this calibration's pair of shutter times, as `BoxClient.put_preset` takes it.

    With film in the bodies no sensor sits at the gate: in the field each body is judged by its sync contact,
    with what is learned of it, from this series or an earlier one (`known`), or not at all. The zero check's surplus is
    taken off B's, as the host takes it off the edge.
    """
    offset_s = calibration.offset_s
    preset: dict[str, int | str] = {
        "name": calibration.preset[:NAME_MOST],
        "delay_a_ns": round(max(offset_s, 0.0) * NS),
        "delay_b_ns": round(max(-offset_s, 0.0) * NS),
        # Down, not to the nearest: the box must never call a frame kept that the host would not.
        "tolerance_ns": max(1, math.floor(min(calibration.tolerance_s, 1.0) * NS)),
    }
    for index, letter in enumerate("ab"):
        body, rules = rig.both[index], rig.edge_rules[index]
        to_mid_s = sync_to_mid_s(body, letter.upper(), _learned(calibration, known, index))
        if to_mid_s is not None and index == 1 and known.zero is not None:
            delay_a_s, delay_b_s = (one.sensors.sync.delay_s for one in rig.both)
            to_mid_s -= known.zero.skew_s - (delay_b_s - delay_a_s)
        preset[f"how_{letter}"] = HOW_NONE if to_mid_s is None else HOW_SYNC
        preset[f"to_mid_{letter}_ns"] = 0 if to_mid_s is None else round(to_mid_s * NS)
        preset[f"earliest_{letter}_ns"] = round(rules.earliest_s * NS)
        preset[f"latest_{letter}_ns"] = round(rules.latest_s * NS)
        preset[f"shortest_{letter}_ns"] = round(rules.shortest_closed_s * NS)
        preset[f"bounce_{letter}_ns"] = round(rules.bounce_s * NS)
        preset[f"held_{letter}_ns"] = round(rules.held_s * NS)
    return preset


def _learned(calibration: Calibration, known: Known, index: int) -> Learned | None:
    """What was learned before, and over it what this series did."""
    before = known.learned[index]
    new = next((one for one in calibration.learned if one.body == index), None)
    if before is None or new is None:
        return new if before is None else before
    told = {each.name: value for each in fields(new) if (value := getattr(new, each.name)) is not None}
    return replace(before, **told)
