"""The rig file as rows of a table: what was understood, both bodies side by side."""

from __future__ import annotations

from coincide.rig.model import Body, Rig
from coincide.rig.optics.geometry import scan_words, scene_sweep_words, view_of
from coincide.rig.optics.sweep import sweep_spread
from coincide.rig.optics.turning import advice
from coincide.rig.parts import Electronic, FocalPlane, Leaf


def rig_rows(rig: Rig) -> list[tuple[str, str, str]]:
    """(what, body A, body B)."""
    columns = [_column(body) | _in_the_scene(body) for body in rig.both]
    return [(name, columns[0].get(name, "-"), columns[1].get(name, "-")) for name in columns[0] | columns[1]]


def _column(body: Body) -> dict[str, str]:
    lens, mount = body.lens, body.mount
    said = {
        "name": body.name,
        "wind": body.wind,
        "release": body.release,
        "sync contact": body.sync,
        "frame": f"{body.frame.width_m * 1e3:g} x {body.frame.height_m * 1e3:g} mm",
        "exposure": f"{body.shutter.exposure} ({body.shutter.exposure.nominal_s * 1e3:.4g} ms)",
        **_shutter(body),
        "lens": f"{lens.focal_length_m * 1e3:g} mm at f/{lens.aperture:g}",
        "mount": f"looks {mount.looks}, top plate {mount.top_plate}",
    }
    if body.film is not None:
        film = body.film
        index = film.effective_index or film.iso / 2**film.filter_stops
        said["film"] = f"ISO {film.iso:g}, index {index:g} behind the filter, {film.band}"
    for name, gate in zip(("gate sensor 1", "gate sensor 2"), body.sensors.gates, strict=True):
        if gate is not None:
            said[name] = f"at {gate.position:g} of the sweep, {gate.width_m * 1e3:g} mm wide"
    return said


def geometry_lines(rig: Rig) -> tuple[str, ...]:
    """What the sweeps leave over the frame, and how to turn a body where that helps; a sentence each."""
    spread, turning = sweep_spread(rig), advice(rig)
    if spread.relation == "no sweep":
        return (
            "Neither shutter sweeps: both expose the whole frame at once, and skew is the same all over it.",
        )
    how = (
        "One curtain sweeps" if spread.relation == "one body only" else f"The curtains run {spread.relation}"
    )
    said = [
        f"{how} in the scene: {spread.across_s * 1e3:.1f} ms of skew across the frame, "
        f"{spread.corner_s * 1e3:.2g} ms at most with the offset that 'calibrate' sets, right in frame centre.",
        f"The best single offset, {abs(spread.centre_shift_s) * 1e3:.2g} ms beside it, would leave "
        f"{spread.after_offset_s * 1e3:.2g} ms at most ({spread.rms_s * 1e3:.2g} ms root mean square).",
    ]
    if turning is not None:
        said.append(f"Advice: {turning.say}")
    return tuple(said)


def _in_the_scene(body: Body) -> dict[str, str]:
    view = view_of(body)
    return {
        "exposes": scene_sweep_words(view),
        "mirrored": view.mirrored,
        "its scan wants": scan_words(view),
    }


def _shutter(body: Body) -> dict[str, str]:
    shutter = body.shutter
    if isinstance(shutter, Leaf):
        return {
            "shutter": f"leaf, {shutter.opening_s * 1e3:g} ms to open, {shutter.closing_s * 1e3:g} ms to close"
        }
    if isinstance(shutter, Electronic):
        return {"shutter": f"electronic, reads out in {shutter.readout_s * 1e3:g} ms, {shutter.sweep}"}
    said = {"shutter": f"{shutter.kind}, travel {shutter.travel_s * 1e3:g} ms, {shutter.sweep}"}
    if isinstance(shutter, FocalPlane) and shutter.sync_speed is not None:
        said["sync speed"] = str(shutter.sync_speed)
    return said
