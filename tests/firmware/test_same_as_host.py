"""The box and the host read the same closing, and the same mid-exposure, from the same edges.

Judge: the host's reader (session/shots.py), which shares no code with the box's; wild contacts at random, and every
named world of the simulated box.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from coincide.box.simulated.worlds import world_names, world_spec
from coincide.rig.calibration import Calibration, Learned
from coincide.session.file import read_session
from coincide.session.rules import EdgeRules
from coincide.session.shots import shots_from_session
from coincide.timing.budget.known import Known, Zero, known_table
from coincide.timing.offset.preset import box_preset
from coincide_firmware.app.pins import FULL_A, FULL_B, SYNC_A, SYNC_B
from coincide_firmware.app.settings import HOW_SYNC, check_preset
from coincide_firmware.app.shots import Edges
from coincide_firmware.app.verdict import FrameReading, read_frame
from tests.rig.rigs import REMOVE
from tests.session.sessions import TICK_HZ, pulse, record, write
from tests.timing.simulated import fired

PINS = {"full_a": FULL_A, "full_b": FULL_B, "sync_a": SYNC_A, "sync_b": SYNC_B}
RULES = EdgeRules(held_s=0.006)
MICROSECOND_NS = 1000


def read_by_the_box(rows: list[tuple[str, int, int]], **given: object) -> FrameReading:
    kept = Edges(400)
    for name, level, tick in rows:
        if name in PINS:
            kept.keep(PINS[name], level, tick)
    preset, say = check_preset(given)
    assert preset is not None, say
    frame: FrameReading = read_frame(kept, preset, TICK_HZ)
    return frame


def test_wild_contacts_are_read_alike(tmp_path: Path) -> None:
    rng = np.random.default_rng(17)
    pressed = [("full_a", 1, 0.3), ("full_b", 1, 0.3), ("full_a", 0, 0.45), ("full_b", 0, 0.45)]
    records = []
    for number in range(1, 401):
        edges = list(pressed)
        for channel in ("sync_a", "sync_b"):
            at = 0.3 + rng.choice([-0.02, 0.001, 0.04])
            for _ in range(rng.integers(0, 7)):
                at += 10.0 ** rng.uniform(-4.0, -1.4)
                length = 10.0 ** rng.uniform(-4.0, -1.6)
                edges += pulse(channel, at, at + length)
                at += length
            if rng.uniform() < 0.1:
                edges.append((channel, 1, at + 0.01))
        records.append(record(number, edges, at_s=3.0 * number))
    host = shots_from_session(read_session(write(tmp_path / "s.jsonl", records)), (RULES, RULES))
    seen = 0
    for row, one in enumerate(records):
        names = ["half_a", "full_a", "half_b", "full_b", "sync_a", "sync_b"]
        rows = [
            (names[c], level, tick) for c, level, tick in zip(one.channel, one.level, one.tick, strict=True)
        ]
        ns = {
            f"{name}_{body}_ns": round(value * 1e9)
            for body in "ab"
            for name, value in (
                ("earliest", RULES.earliest_s),
                ("latest", RULES.latest_s),
                ("shortest", RULES.shortest_closed_s),
                ("bounce", RULES.bounce_s),
                ("held", RULES.held_s),
            )
        }
        box = read_by_the_box(rows, name="p", tolerance_ns=1_000_000, how_a=HOW_SYNC, how_b=HOW_SYNC, **ns)
        for body, reading in enumerate((box.a, box.b)):
            closing_s = host.sync_s[row, body] - host.full_s[row, body]
            assert (reading.lag_ns is None) == bool(np.isnan(closing_s)), one
            if reading.lag_ns is not None:
                seen += 1
                assert reading.flicks == host.flicks[row, body], one
                assert abs(reading.lag_ns - closing_s * 1e9) <= 8
                assert reading.bounces == host.bounces[row, body]
    assert seen > 300


NO_SERIES = (
    "stops at once",
    "interlock opens",
    "interlock flickers",
    "interlock open",
    "electronic shutters",
)


@pytest.mark.parametrize("name", [name for name in world_names() if name not in NO_SERIES])
def test_every_world_is_read_alike(name: str) -> None:
    """With what earlier series learned and a zero check, neither of which this calibration holds itself."""
    learned = tuple(
        Learned(index, "1/60", 0.0013 * (index + 1), 1e-5, 0.0165 + 0.0004 * index, 1e-5) for index in (0, 1)
    )
    known = Known((learned[0], learned[1]), Zero(0.00063, 1e-7, (1e-4, 1.2e-4), (1e-6, 1e-6), "2031-05-04"))
    changes: dict[str, object] = {"bodies.a.sensors.gate_1": REMOVE, "bodies.b.sensors.gate_1": REMOVE}
    measured = fired(world_spec(name), changes, pairs=6, known=known_table(known)).analysis.measured
    calibration = Calibration(
        "2031-05-04T06:12:00+00:00",
        "fen",
        measured.rig.exposures,
        (8.0, 8.0),
        0.02,
        (0.019, 0.021),
        1e-3,
        0.97,
        2e-3,
        30,
        "sync+sync",
        (),
        "",
    )
    preset = box_preset(measured.rig, calibration, known)
    table, names = measured.session.edges, measured.session.header.channels
    for row in range(len(measured.shots.number)):
        mine = table.row == row
        rows = [
            (names[channel], int(level), int(tick))
            for channel, level, tick in zip(
                table.channel[mine], table.level[mine], table.tick[mine], strict=True
            )
        ]
        if measured.shots.lost[row] or not rows:
            continue
        box = read_by_the_box(rows, **preset)
        assert (box.skew_ns is None) == bool(np.isnan(measured.skew_s[row]))
        if box.skew_ns is not None:
            assert abs(box.skew_ns - measured.skew_s[row] * 1e9) <= MICROSECOND_NS
