"""Which simulated world a command plays when no port is given: an invented rig dressed like the rig file."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from coincide.box.simulated.spec import BodySpec, ShutterKind, WorldSpec
    from coincide.rig.model import Body, Rig


def world_for(rig: Rig, name: str | None) -> WorldSpec:
    """The named world with the dials turned as in the rig; without a name the demo's, given the rig's shutters and
    sensors, which some of the named ones are given too. Bodies are wound as the rig says. Raises BadInput for a name
    there is not.
    """
    from coincide.box.simulated.worlds import DEMO, world_spec

    base = world_spec(DEMO if name is None else name)
    if name is not None and not base.dressed:
        seconds = (body.shutter.exposure.nominal_s for body in rig.both)
        world = base.with_exposures(*seconds)
    else:
        world = replace(
            base, body_a=_dressed(base.body_a, rig.bodies.a), body_b=_dressed(base.body_b, rig.bodies.b)
        )
    if world.hand.cable_presses:
        return world  # the hand on the cable winds too, between presses
    return replace(
        world,
        body_a=replace(world.body_a, wind=rig.bodies.a.wind),
        body_b=replace(world.body_b, wind=rig.bodies.b.wind),
        hand=replace(world.hand, winds=any(body.wind == "manual" for body in rig.both)),
    )


def _dressed(spec: BodySpec, body: Body) -> BodySpec:
    """The invented body keeps its lag and its habits, and gets the shutter and sensors the file describes."""
    from coincide.box.simulated.spec import GateSpec, ShutterSpec

    shutter, side_m = body.shutter, body.frame.height_m
    exposure_s = shutter.exposure.nominal_s
    if shutter.kind == "leaf":
        made = ShutterSpec(
            kind="leaf", exposure_s=exposure_s, opening_s=shutter.opening_s, closing_s=shutter.closing_s
        )
    elif shutter.kind == "electronic":
        made = ShutterSpec(kind="electronic", exposure_s=exposure_s, readout_s=shutter.readout_s)
    else:
        kind: ShutterKind = "focal plane" if shutter.kind == "focal-plane" else "electronic first curtain"
        made = replace(spec.shutter, kind=kind, exposure_s=exposure_s, travel_s=shutter.travel_s)
        if shutter.sweep in ("left to right", "right to left"):
            side_m = body.frame.width_m
    gates = tuple(
        None if gate is None else GateSpec(gate.position, gate.width_m / side_m, gate.threshold)
        for gate in body.sensors.gates
    )
    return replace(
        spec,
        name=body.name,
        shutter=made,
        release=replace(spec.release, kind=body.release),
        contact=replace(spec.contact, fitted=body.sync != "none"),
        gates=(gates[0], gates[1]),
    )
