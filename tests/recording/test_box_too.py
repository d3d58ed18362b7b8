"""The simulated box watches and a recorder listens to the same shots: both sessions agree within what either states.

The shots are the simulated bodies' own (`ShotTruth`); box and sound input each see them through physics of their own.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from coincide.bench.heard import Wish
from coincide.bench.recording import record
from coincide.box.cable.client import BoxClient
from coincide.box.conduct import run_series
from coincide.box.plans import SeriesPlan, offset_plan
from coincide.box.simulated.port import open_simulated
from coincide.box.simulated.random_worlds import random_world
from coincide.recording.files import write_sound
from coincide.rehearsal.light import LightScene, light_evening
from coincide.rig.file import parse_rig
from coincide.rig.plan import rig_plan
from coincide.session.file import read_session
from coincide.session.memory import session_from_records
from coincide.session.model import Header
from coincide.timing.analysis import analyse
from tests.box.sinks import MemorySession
from tests.chain.worlds import rig_text

PAIRS = 12
PLACED_S = (0.00012, -0.0001)  # less than the millimetre that is stated


def test_a_box_and_a_recorder_on_the_same_shots_agree(tmp_path: Path) -> None:
    world = random_world(4, kind="focal plane", behaviour="gaussian")
    rig_toml = rig_text(world, 0.003)
    port = open_simulated(world, seed=4)
    client = BoxClient(port)
    rig = parse_rig(rig_toml)
    header = Header(
        "2031-05-04T10:00:00Z",
        "series",
        client.identity.tick_hz,
        client.identity.channels,
        rig_toml,
        {},
        rig.exposures,
    )
    kept = MemorySession(header)
    plan = SeriesPlan(PAIRS, offset_plan(0.0, client.identity, rig_plan(rig)), interval_s=4.0)
    assert run_series(client, kept, plan).complete
    timed = analyse(session_from_records(header, kept.records))

    shots = tuple((one.skew_s, *one.exposure_s) for one in port.truth)
    scene = LightScene(shots=shots, every_s=1.0, low_cut_hz=30.0, placed_s=PLACED_S)
    evening = light_evening(scene, 4)
    write_sound(tmp_path / "evening.wav", evening.samples, evening.rate_hz)
    record([tmp_path / "evening.wav"], rig_toml, Wish("light"), tmp_path / "evening.jsonl")
    heard = analyse(read_session(tmp_path / "evening.jsonl"))

    assert timed.suggestion is not None
    assert heard.suggestion is not None
    apart = heard.measured.skew_s - timed.measured.skew_s
    # The shots are the same, so what they scatter by is in neither difference.
    stated = 1.96 * np.hypot(heard.suggestion.type_b_s, timed.suggestion.type_b_s)
    assert abs(float(np.mean(apart))) < stated
    assert float(np.std(apart)) < 20e-6
    # Nor is either so wide that anything would agree.
    assert stated < 0.001
    truth = np.array([one.skew_s for one in port.truth])
    for one in (timed, heard):
        off = float(np.mean(one.measured.skew_s - truth))
        assert one.suggestion is not None
        assert abs(off) < 1.96 * one.suggestion.type_b_s
