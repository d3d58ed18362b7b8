"""Alone in the field: the photographer's button in a simulated world, the frame log read afterwards."""

from __future__ import annotations

import pytest

from coincide.box.cable.client import BoxClient
from coincide.box.simulated.port import SimulatedPort, open_simulated
from coincide_firmware.app.frame_words import FRAME_FIELDS
from coincide_firmware.app.messages import FRAME_VERDICTS

HOW_GATE = 2
PRESET = {
    "name": "fen 125-60",
    "tolerance_ns": 3_000_000,
    "delay_a_ns": 17_600_000,
    "how_a": HOW_GATE,
    "how_b": HOW_GATE,
}


def press(port: SimulatedPort) -> None:
    """A finger: half, then full, then away."""
    world = port.world
    for button, down, after_s in (
        ("button_half", True, 0.0),
        ("button_full", True, 0.5),
        ("button_full", False, 0.4),
        ("button_half", False, 0.1),
    ):
        port.wait(after_s)
        world.set_input(button, down)
    port.wait(2.0)


def test_frames_fired_by_the_button_are_logged_as_they_were() -> None:
    port = open_simulated("steady", seed=8)
    client = BoxClient(port)
    client.put_preset(0, PRESET)
    port.machine.link.unplug()
    port.wait(5.0)
    for _ in range(5):
        press(port)
    port.machine.link.plug()
    assert not client.reconnect(5.0)
    page = client.framelog(0, 16)
    assert page.entries == 5 == len(port.truth)
    box = port.world.spec.box
    late_s = [(box.input_on_s[body] + box.input_off_s[body]) / 2 for body in (0, 1)]
    for entry, real in zip(page.page, port.truth, strict=True):
        frame = dict(zip(FRAME_FIELDS, entry, strict=True))
        assert frame["skew_ns"] * 1e-9 == pytest.approx(real.skew_s + late_s[1] - late_s[0], abs=50e-9)
        assert frame["exposure_b_ns"] * 1e-9 == pytest.approx(real.exposure_s[1], abs=50e-6)
        within = abs(frame["skew_ns"]) <= PRESET["tolerance_ns"]
        assert FRAME_VERDICTS[frame["verdict"]] == ("within" if within else "out")
    client.framelog_clear(5)
    assert client.framelog(0).entries == 0


def test_the_frame_log_survives_a_reset_and_a_torn_write() -> None:
    port = open_simulated("steady", seed=8)
    client = BoxClient(port)
    client.put_preset(0, PRESET)
    port.wait(5.0)
    press(port)
    port.machine.flash.tear_next_write = True
    press(port)
    port.machine.reset("power")
    client.reconnect(10.0)
    port.wait(5.0)
    press(port)
    page = client.framelog(0, 16)
    whole = [entry for entry in page.page if len(entry) == len(FRAME_FIELDS)]
    assert len(whole) == 2
    assert len(port.truth) == 3


def test_the_open_interlock_holds_the_button_back() -> None:
    port = open_simulated("interlock open")
    client = BoxClient(port)
    client.put_preset(0, PRESET)
    port.wait(5.0)
    press(port)
    assert port.truth == ()
    assert port.world.releases.closed_mask == 0
