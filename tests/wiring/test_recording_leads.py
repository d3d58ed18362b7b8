"""A recording's leads reach no metal of a body; what is wired wrong is told by name."""

from __future__ import annotations

import pytest

from coincide_wiring.check.recording import recording_faults
from coincide_wiring.circuits.model import Part, Sheet, part
from coincide_wiring.circuits.recording import RECORDING_VARIANTS, recording
from coincide_wiring.draw.recording import joint_lines


def changed(sheet: Sheet, ref: str, new: Part | None) -> Sheet:
    parts = [one if one.ref != ref else new for one in sheet.parts]
    return Sheet(sheet.name, sheet.title, tuple(one for one in parts if one is not None))


def with_part(sheet: Sheet, new: Part) -> Sheet:
    return Sheet(sheet.name, sheet.title, (*sheet.parts, new))


@pytest.mark.parametrize("variant", RECORDING_VARIANTS)
def test_every_way_to_connect_is_sound(variant: str) -> None:
    assert recording_faults(recording(variant)) == ()


@pytest.mark.parametrize("variant", RECORDING_VARIANTS)
@pytest.mark.parametrize("body", ["A", "B"])
def test_bare_metal_and_missing_holders_are_found(variant: str, body: str) -> None:
    sheet = recording(variant)
    ref = f"H91{body}"
    assert any(one.rule == "apart" for one in recording_faults(changed(sheet, ref, None)))
    common = sheet.part(ref).pins["one"]
    bare = part("W1", "wire", "wire", "a strand", {"one": common, "other": f"{body}_SHELL"})
    assert any("are joined" in one.say for one in recording_faults(with_part(sheet, bare)))
    assert recording_faults(changed(sheet, ref, sheet.part(ref).rewired("other", common)))


def test_a_sync_terminal_on_the_lead_is_found() -> None:
    """The worst of all: an old flash circuit on the recorder."""
    sheet = recording("line")
    tapped = with_part(sheet, part("W1", "wire", "wire", "", {"one": "REC_LEFT", "other": "A_SYNC_C"}))
    assert {one.rule for one in recording_faults(tapped)} >= {"terminal"}


@pytest.mark.parametrize(
    ("variant", "ref", "pins", "rule"),
    [
        ("microphone", "D91A", {"anode": "REC_LEFT", "cathode": "REC_COMMON"}, "turned"),
        ("contact", "Y91B", {"crystal": "REC_COMMON", "brass": "REC_RIGHT"}, "turned"),
        ("line", "D91B", {"anode": "REC_COMMON", "cathode": "REC_LEFT"}, "channel"),
        ("line", "R91A", {"one": "REC_LEFT", "other": "REC_RIGHT"}, "load"),
        ("contact", "H92A", {"one": "A_SHELL", "other": "B_SHELL"}, "dangling"),
        ("analyser", "U91B", {"signal": "gate_a1", "ground": "GND"}, "channel"),
    ],
)
def test_a_slip_is_told_by_name(variant: str, ref: str, pins: dict[str, str], rule: str) -> None:
    sheet = recording(variant)
    old = sheet.part(ref)
    slipped = changed(sheet, ref, part(ref, old.kind, old.sort, old.why, pins, old.values))
    assert rule in {one.rule for one in recording_faults(slipped)}


def test_loads_out_of_range_or_alone_are_told() -> None:
    sheet = recording("line")
    assert recording_faults(changed(sheet, "R91A", sheet.part("R91A").revalued("resistance_ohm", 100e3)))
    assert recording_faults(changed(sheet, "R91A", None))


@pytest.mark.parametrize("variant", RECORDING_VARIANTS)
def test_the_joints_in_words_are_those_of_the_netlist(variant: str) -> None:
    sheet = recording(variant)
    lines = joint_lines(sheet)
    joined = {line.split()[0]: line for line in lines if "o---" in line}
    assert set(joined) == set(sheet.parts[0].pins)
    for pin, net in sheet.parts[0].pins.items():
        for ref, end in sheet.nets()[net]:
            if ref == sheet.parts[0].ref or sheet.part(ref).kind == "insulator":
                continue
            assert ref in joined[pin]
            assert end in joined[pin] or sheet.part(ref).kind == "resistor"
    assert all(any(one.ref in line for line in lines) for one in sheet.parts[1:])
