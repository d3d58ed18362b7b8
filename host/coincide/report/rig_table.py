"""The rig file as rows of a table: what was understood, both bodies side by side."""

from __future__ import annotations

from coincide.rig.model import Body, Rig
from coincide.rig.parts import Electronic, FocalPlane, Leaf


def rig_rows(rig: Rig) -> list[tuple[str, str, str]]:
    """(what, body A, body B)."""
    columns = [_column(body) for body in rig.both]
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
