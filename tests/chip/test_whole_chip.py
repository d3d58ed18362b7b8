"""The ordinary host against a whole chip with two bodies on its pins.

Runs against the firmware on the stand-in chip always, and with `--chip-port PATH` against whatever answers there: a
board on a jig, or an emulated chip; not with several workers then, as the port is one. The bodies are those of
bodies.py in both cases; their truth is known.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from coincide.box.cable.answers import BoxRefused, Event
from coincide.box.cable.client import BoxClient
from coincide.box.cable.ports import Port, SerialPort
from coincide.box.conduct import run_series
from coincide.box.firmware import board_files
from coincide.box.install import install_to_directory
from coincide.box.plans import SeriesPlan, offset_plan
from coincide.errors import BoxFailed
from coincide.session.file import SessionWriter, read_session
from coincide.session.model import Header, Plan, Session, ShotRecord
from coincide.session.shots import shots_from_session
from coincide_firmware.app.frame_words import FRAME_FIELDS
from coincide_firmware.app.messages import MS
from coincide_firmware.app.pins import CHANNELS, FULL_A, FULL_B
from tests.chip import bodies
from tests.chip.standin_port import StandInPort

PLAN = Plan(lead_ns=100 * MS, closure_ns=150 * MS, window_ns=300 * MS)
PRESET = {
    "name": "60/125",
    "delay_a_ns": 8 * MS,
    "tolerance_ns": 2 * MS,
    "how_a": 2,
    "how_b": 2,
    "latest_a_ns": 200 * MS,
    "latest_b_ns": 200 * MS,
}
STARTS_S = 20.0
# What MicroPython's rp2 port brings, as far as it is used, and our own packages. `traceback` is CPython's alone: it is
# asked for only where `sys.print_exception` is not there.
ON_A_BOARD = {
    *("app", "board", "array", "binascii", "gc", "io", "json", "machine", "micropython", "os", "rp2"),
    *("select", "struct", "sys", "time", "traceback", "uctypes"),
}
PRESSES_MOST = 64  # a chip that has been used before starts somewhere in the bodies' story
BODY_OF = {FULL_A: "A", FULL_B: "B"}


@pytest.fixture(scope="module", params=["stand-in", pytest.param("chip", marks=pytest.mark.chip)])
def client(request: pytest.FixtureRequest) -> Iterator[BoxClient]:
    slowdown = 1.0
    port: Port = StandInPort() if request.param == "stand-in" else _chip_port(request)
    if request.param == "chip":
        slowdown = request.config.getoption("--chip-slowdown")
    client = _introduced(port, slowdown)
    client.ensure_open()
    client.put_settings({"min_interval_ms": 500, "manual_wind": 0, "field": 1})
    _drain(client)
    # The box arms only once it has seen its interlock open and closed again: the hand does it.
    client.lamps(bodies.LAMPS_INTERLOCK, 1 * MS, 1)
    client.port.wait(1.5 * client.talk.slowdown)
    _drain(client)
    yield client
    try:
        client.ensure_open()
    finally:
        client.close()


def _introduced(port: Port, slowdown: float) -> BoxClient:
    """The box on a port, given time to start: it compiles its own firmware first."""
    until_s = port.now_s() + STARTS_S * slowdown
    while True:
        try:
            return BoxClient(port, slowdown=slowdown)
        except BoxFailed:
            if port.now_s() >= until_s:
                raise


def _chip_port(request: pytest.FixtureRequest) -> Port:
    path = request.config.getoption("--chip-port")
    if path is None:
        pytest.skip("no chip: give --chip-port PATH (and --chip-slowdown N for an emulated one)")
    return SerialPort(path)


def _drain(client: BoxClient, timeout_s: float = 0.2) -> list[Event]:
    """Takes and acknowledges every event there is."""
    events = []
    while (event := client.event(timeout_s * client.talk.slowdown)) is not None:
        events.append(event)
        client.ack(event.seq)
    return events


def _until(client: BoxClient, kind: str, timeout_s: float = 5.0) -> list[Event]:
    """Events up to and including the first of a kind."""
    events: list[Event] = []
    while not events or events[-1].kind != kind:
        event = client.event(timeout_s * client.talk.slowdown)
        assert event is not None, f"no '{kind}' came"
        events.append(event)
        client.ack(event.seq)
    return events


def _series(client: BoxClient, path: Path, pairs: int, plan: Plan = PLAN) -> tuple[Session, list[ShotRecord]]:
    identity = client.identity
    header = Header(
        "2031-05-04T10:00:00Z",
        "series",
        identity.tick_hz,
        identity.channels,
        "",
        identity.raw,
        ("1/60", "1/125"),
    )
    told: list[ShotRecord] = []
    with SessionWriter(path, header) as writer:
        outcome = run_series(client, writer, SeriesPlan(pairs, plan, interval_s=0.6), told.append)
    assert outcome.complete, outcome.sentences
    return read_session(path), told


def _answers(record: ShotRecord, full: int) -> list[tuple[int, int, int]]:
    """(gpio, level with 1 = closed, ticks since full-press) of one body's inputs."""
    body = BODY_OF[full]
    inputs = (bodies.SYNC[body], *bodies.GATES[body])
    pressed = next(
        tick
        for c, level, tick in zip(record.channel, record.level, record.tick, strict=True)
        if c == full and level
    )
    return [
        (c + 2, level, tick - pressed)
        for c, level, tick in zip(record.channel, record.level, record.tick, strict=True)
        if c + 2 in inputs
    ]


def _true_answers(body: str, n: int, tick_hz: int) -> list[tuple[int, int, int]]:
    return [
        (pin, 1 if level == 0 else 0, round(ns * tick_hz / 1e9))
        for ns, pin, level in bodies.truth(body, n).edges
    ]


def _same(seen: list[tuple[int, int, int]], real: list[tuple[int, int, int]], within: int) -> bool:
    return [edge[:2] for edge in seen] == [edge[:2] for edge in real] and all(
        abs(a[2] - b[2]) <= within for a, b in zip(seen, real, strict=True)
    )


def test_identity(client: BoxClient) -> None:
    identity = client.identify()
    assert identity.channels == CHANNELS
    assert not identity.simulated
    assert identity.raw["board"]["chip"] in ("RP2040", "RP2350")
    assert 48_000_000 <= identity.tick_hz <= 220_000_000
    assert client.status().outputs == 0
    assert client.crash() is None


def test_settings_are_kept(client: BoxClient) -> None:
    client.put_settings({"lead_ms": 120, "closure_ms": 140, "window_ms": 250})
    values = client.settings()["values"]
    assert (values["lead_ms"], values["closure_ms"], values["window_ms"]) == (120, 140, 250)
    client.put_preset(2, PRESET)
    stored = client.preset(2)
    assert stored is not None
    assert stored["delay_a_ns"] == 8 * MS
    with pytest.raises(BoxRefused):
        client.put_settings({"lead_ms": 999_999})


def test_nothing_closes_without_an_arm(client: BoxClient) -> None:
    with pytest.raises(BoxRefused) as refused:
        client.fire(1, PLAN)
    assert refused.value.code == "not_armed"
    with pytest.raises(BoxRefused):
        client.pulse(1, 20 * MS)
    assert client.status().outputs == 0


def test_series_tells_the_truth_of_both_bodies(client: BoxClient, tmp_path: Path) -> None:
    plan = offset_plan(0.0123, client.identity, PLAN)
    _, told = _series(client, tmp_path / "s.jsonl", 5, plan)
    hz = client.identity.tick_hz
    within = round(hz * 40e-9)  # two edges, each within 16 ns, and a tick of rounding
    first: dict[int, int] = {}
    for place, record in enumerate(told):
        assert record.lost == 0
        pressed = {
            c: t
            for c, level, t in zip(record.channel, record.level, record.tick, strict=True)
            if c in (FULL_A, FULL_B) and level
        }
        assert abs(pressed[FULL_A] - pressed[FULL_B] - round(0.0123 * hz)) <= 3
        for full, body in BODY_OF.items():
            seen = _answers(record, full)
            if full not in first:
                first[full] = next(
                    (n for n in range(PRESSES_MOST) if _same(seen, _true_answers(body, n, hz), within)), -1
                )
                assert first[full] >= 0, (
                    f"body {body} answered unlike any of its first {PRESSES_MOST} presses"
                )
            assert _same(seen, _true_answers(body, first[full] + place, hz), within)


def test_calibration_brings_the_bodies_together(client: BoxClient, tmp_path: Path) -> None:
    def skews_s(path: Path, plan: Plan) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        session, _ = _series(client, path, 5, plan)
        shots = shots_from_session(session)
        mid_s = (shots.gate_open_s + shots.gate_close_s)[:, :, :].mean(axis=2) / 2
        skew_s = mid_s[:, 1] - mid_s[:, 0]
        return np.asarray(skew_s[np.isfinite(skew_s)])

    before_s = skews_s(tmp_path / "before.jsonl", PLAN)
    offset_s = float(np.median(before_s))
    after_s = skews_s(tmp_path / "after.jsonl", offset_plan(offset_s, client.identity, PLAN))
    real_s = (bodies.truth("B", 0).mid - bodies.truth("A", 0).mid) * 1e-9
    assert abs(offset_s - real_s) < 0.003
    assert abs(np.median(after_s)) < 0.0015 < abs(np.median(before_s))


def test_interlock_opening_in_mid_closure_opens_everything(client: BoxClient) -> None:
    client.arm(20_000)
    client.lamps(bodies.LAMPS_INTERLOCK, 1 * MS, 1)
    assert client.fire(901, Plan(lead_ns=0, closure_ns=3_000 * MS, window_ns=300 * MS))
    events = _until(client, "fault")
    assert events[-1].fields["code"] == "interlock"
    assert client.status().outputs == 0
    shot = _until(client, "shot")[-1]
    assert shot.fields["aborted"] == "interlock"
    with pytest.raises(BoxRefused):
        client.fire(902, PLAN)
    client.port.wait(1.0 * client.talk.slowdown)
    _drain(client)


def test_silent_host_disarms(client: BoxClient) -> None:
    client.arm(60_000)
    client.port.wait(3.5 * client.talk.slowdown)
    assert any(event.fields.get("code") == "silence" for event in _drain(client))
    assert client.status().armed_ms == 0
    with pytest.raises(BoxRefused):
        client.fire(903, PLAN)


def test_field_shot_is_logged_with_its_skew(client: BoxClient) -> None:
    client.put_preset(2, PRESET)
    client.put_settings({"preset": 2, "field": 1, "manual_wind": 0})
    before = client.framelog(0, 1).entries
    client.disarm()
    client.lamps(bodies.LAMPS_BUTTON, 1 * MS, 1)
    client.port.wait(3.0 * client.talk.slowdown)
    _drain(client)
    log = client.framelog(before, 4)
    assert log.entries == before + 1
    entry = dict(zip(FRAME_FIELDS, log.page[0], strict=True))
    assert entry["preset"] == "60/125"
    assert entry["delay_a_ns"] == 8 * MS
    # A is held back 8 ms of the 8 to 9 that B is late (gate sensor 1 lies a quarter along both travels).
    if entry["skew_ns"] is not None:
        assert abs(entry["skew_ns"]) < 6 * MS
    assert entry["lost"] == 0


def test_manual_wind_waits_for_the_wound_button(client: BoxClient) -> None:
    client.put_settings({"manual_wind": 1})
    try:
        client.arm(20_000)
        with pytest.raises(BoxRefused) as refused:
            client.fire(904, PLAN)
        assert refused.value.code == "not_wound"
        client.lamps(bodies.LAMPS_WOUND, 1 * MS, 1)
        _until(client, "wound")
        assert client.fire(905, PLAN)
        _until(client, "shot")
    finally:
        client.put_settings({"manual_wind": 0})


def test_rubbish_on_the_line_does_no_harm(client: BoxClient) -> None:
    client.ensure_open()
    for rubbish in (
        b"\x03\x03\x04\x01",
        b"\xff" * 300,
        b'{"id":1,"do":"fire"}\n',
        b"x" * 3000 + b"\n",
        b"\n\n\r\n",
    ):
        # No more at a time than any line's buffer takes from a host whose box is slow to read.
        for at in range(0, len(rubbish), 256):
            client.port.write(rubbish[at : at + 256])
            client.port.wait(0.05 * client.talk.slowdown)
    client.port.write(b"\n")
    client.port.wait(0.2 * client.talk.slowdown)
    assert client.identify().crash is False
    assert client.status().outputs == 0


def test_unhappy_port_is_one_sentence() -> None:
    with pytest.raises(BoxFailed, match="no port"):
        SerialPort("/dev/no-such-port")


def test_the_files_for_a_board_in_a_folder_are_those_an_installation_writes(tmp_path: Path) -> None:
    install_to_directory(tmp_path)
    written = {
        str(path.relative_to(tmp_path)): path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()
    }
    assert written == board_files()
    # On the board they are imported from its root: boot and main, and two packages.
    assert {name.partition("/")[0] for name in written} == {"boot.py", "main.py", "app", "board"}
    assert {"app/__init__.py", "board/__init__.py"} <= written.keys()
    for name, content in written.items():
        for module in re.findall(r"^ *(?:from|import) ([\w.]+)", content.decode(), re.MULTILINE):
            assert module.startswith(".") or module.partition(".")[0] in ON_A_BOARD, (name, module)
