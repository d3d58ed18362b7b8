"""From the rig to what the box is told for a pair."""

from __future__ import annotations

from coincide.rig.model import Rig
from coincide.rig.parts import Electronic, Leaf, Shutter
from coincide.session.model import Plan

LONGEST_WINDOW_S = 10.0
SETTLING_S = 0.05  # for the contact's bounce on opening, after the shutter has closed


def rig_plan(rig: Rig, offset_s: float = 0.0) -> Plan:
    """Lead, closure, and a window that holds the latest exposure whole; `offset_s` positive delays body A."""
    needed_s = max(
        rules.latest_s + shutter_running_s(body.shutter) + SETTLING_S
        for rules, body in zip(rig.edge_rules, rig.both, strict=True)
    )
    window_s = min(max(rig.release.window_s, needed_s), LONGEST_WINDOW_S)
    return Plan(
        delay_a_ns=round(max(offset_s, 0.0) * 1e9),
        delay_b_ns=round(max(-offset_s, 0.0) * 1e9),
        lead_ns=round(rig.release.lead_s * 1e9),
        closure_ns=round(rig.release.closure_s * 1e9),
        window_ns=round(window_s * 1e9),
    )


def shutter_running_s(shutter: Shutter) -> float:
    """From the first light anywhere in the frame to the last."""
    if isinstance(shutter, Leaf):
        return shutter.exposure.nominal_s + shutter.opening_s / 2 + shutter.closing_s / 2
    if isinstance(shutter, Electronic):
        return shutter.exposure.nominal_s + shutter.readout_s
    return shutter.exposure.nominal_s + shutter.travel_s
