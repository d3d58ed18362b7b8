"""Doubtful rigs: allowed, and each doubt names the key."""

from __future__ import annotations

from typing import Any

import pytest

from coincide.rig.check import doubts, notes
from tests.rig.rigs import LEAF, REMOVE, rig_with

FAST_LEAF = {"kind": "leaf", "exposure": "1/500", "opening": "3 ms", "closing": "3 ms"}
NO_SUBJECT = {"tolerance.time": "2 ms"}

DOUBTFUL: list[tuple[dict[str, Any], str]] = [
    ({"bodies.a.shutter.exposure": "1/3"}, "bodies.a.shutter.exposure is 1/3, which is not among the marked"),
    (
        {"bodies.a.shutter.travel": "9 ms"},
        "bodies.a.shutter.travel is 9 ms, longer than the exposure at sync_speed",
    ),
    ({"bodies.a.shutter.exposure": "1/500"}, "many bodies suppress X"),
    ({"bodies.b.shutter": FAST_LEAF}, "cannot expose for less than 3 ms at full aperture"),
    ({"bodies.a.lens.focal_length": "5 mm"}, "bodies.a.lens.focal_length is 5 mm for a frame of 43.3 mm"),
    ({"bodies.b.sync": "M"}, "bodies.b.sync is 'M'"),
    (
        {"bodies.b.sync": "none", "bodies.b.sensors": {}},
        "bodies.b.sync is 'none' and there is no gate sensor",
    ),
    (
        {"bodies.a.shutter.exposure": "1/1000", "bodies.a.sensors.gate_1": {"width": "4 mm"}},
        "bodies.a.sensors.gate_1.width is 4 mm, wider than the slit of 3.3 mm",
    ),
    ({"bodies.a.sensors.gate_2": {"position": 0.6}}, "bodies.a.sensors: both gate sensors"),
    ({"edges.shortest": "40 ms"}, "edges.shortest is 40 ms, no shorter than body A's exposure"),
    ({"bodies.b.edges": {"latest": "9.99 s"}}, "bodies.b.edges.latest is 9.99 s"),
    ({"release.lead": "0 ms"}, "release.lead is 0 ms and bodies.a.release is 'half+full'"),
    (
        {"bodies.a.release": "solenoid", "release.closure": "2 s"},
        "release.closure is 2e+03 ms and bodies.a.release",
    ),
    ({"release.closure": "20 ms"}, "release.closure is 20 ms"),
    ({"release.interval": "0.5 s"}, "release.interval is 0.5 s"),
    ({"bodies.b.name": "Lapwing"}, "both 'Lapwing'"),
    ({"bodies.b.shutter.exposure": "1/8"}, "blurred by 54.7 ms more at each end"),
    ({"bodies.b.lens.focal_length": "50 mm"}, "only the narrower"),
    (
        {"splitter.bands.visible": {"transmission": 0.2, "reflection": 0.2}},
        "splitter.bands.visible: transmission",
    ),
    ({"splitter.bands.infrared": {"transmission": 0.9, "reflection": 0.0}}, "one body gets no light"),
    ({"bodies.b.mount.top_plate": "towards the photographer"}, "sweeps leave up to 7 ms of skew"),
    ({"tolerance.time": "50 us"}, "[tolerance] allows 50 us of skew"),
    ({"tolerance.time": "1 s"}, "hardly any pair would ever fail"),
    (
        {"bodies.b.film.filter_stops": REMOVE, "bodies.b.film.effective_index": 25},
        "bodies.b.film.effective_index is 25: whether the glass was in the light",
    ),
    ({"bodies.a.mount.top_plate": "right"}, "A's picture is upright in the scene and B's lying; 67% of A's"),
    (
        {"bodies.b.mount.top_plate": "towards the photographer"},
        "Mount B with the top plate towards the scene",
    ),
    ({"tolerance.time": "0.1 ms"}, "No other way of mounting leaves less"),
]


@pytest.mark.parametrize(("changes", "says"), DOUBTFUL)
def test_each_doubt_is_said(changes: dict[str, Any], says: str) -> None:
    found = doubts(rig_with(changes))
    assert any(says in doubt for doubt in found), found
    assert all(doubt.endswith(".") and "\n" not in doubt for doubt in found)


def test_the_untouched_example_raises_none() -> None:
    assert doubts(rig_with()) == ()
    assert any("4.7 pixels of coloured fringe" in note for note in notes(rig_with()))
    assert notes(rig_with({"tolerance.scan_pixels": 4})) == ()


def test_an_index_that_says_what_it_saw_raises_none() -> None:
    index = {"bodies.b.film.filter_stops": REMOVE, "bodies.b.film.effective_index": 25}
    for glass in (True, False):
        assert doubts(rig_with(index | {"bodies.b.film.index_includes_glass": glass})) == ()


def test_a_sound_rig_raises_none() -> None:
    assert doubts(rig_with({"tolerance.scan_pixels": 4})) == ()
    leaf = rig_with(
        {"bodies.a.shutter": LEAF, "tolerance.scan_pixels": 4, "bodies.b.shutter.exposure": "1/60"}
    )
    assert [doubt for doubt in doubts(leaf) if "sweeps" not in doubt] == []
