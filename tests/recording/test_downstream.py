"""After a recording every command says where the edges came from, and none prints a lag that nobody knows."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

import coincide
from coincide.bench.heard import Wish
from coincide.bench.recording import record
from coincide.recording.files import write_sound
from coincide.rehearsal.light import LightScene, light_evening
from coincide.rehearsal.sound import SoundScene, sound_evening
from tests.cli.running import run
from tests.recording.worlds import rig_text


@pytest.fixture(scope="module", params=["light", "sound"])
def session(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A session read from an invented evening of either kind."""
    folder = tmp_path_factory.mktemp(request.param)
    if request.param == "light":
        evening = light_evening(LightScene(pairs=6, every_s=1.1, exposure_s=(1 / 64, 1 / 64)), 7)
    else:
        evening = sound_evening(SoundScene(pairs=8, every_s=1.1, exposure_s=(1 / 32, 1 / 32)), 7)
    write_sound(folder / "evening.wav", evening.samples, evening.rate_hz)
    rig = rig_text("1/60" if request.param == "light" else "1/30")
    record([folder / "evening.wav"], rig, Wish(request.param), folder / "evening.jsonl")
    return folder / "evening.jsonl"


def test_the_report_says_where_the_edges_came_from(session: Path, tmp_path: Path) -> None:
    kind = session.parent.name.rstrip("0123456789")
    done = run(["report", str(session), "--to", str(tmp_path)], tmp_path)
    assert done.code == 0, done.said
    words = " ".join(done.out.split())
    assert f"read from a recording of {kind} (evening.wav), not timed by a box: no lag" in words
    table = next(line for line in done.out.splitlines() if "seen by" in line)
    assert "lag" not in table
    page = next(tmp_path.rglob("*.html")).read_text(encoding="utf-8")
    assert f"a recording of {kind}: evening.wav, SHA-256" in page
    assert "Lag A, ms" not in page
    assert "firmware unknown" not in page
    assert "touches metal of a body" in page  # the cautions of a recording's leads


def test_limits_and_budget_rest_on_the_session_itself(session: Path) -> None:
    """No calibration lies beside the rig; what is to be taken off is said, a session of other times refused."""
    kind = session.parent.name.rstrip("0123456789")
    folder = session.parent
    exposure = "1/60" if kind == "light" else "1/30"
    (folder / "rig.toml").write_text(rig_text(exposure), encoding="utf-8")
    said = run(["limits", "--session", session.name], folder)
    assert said.code in (0, 1), said.said
    first = " ".join(said.out.split())[:400]
    assert f"evening.jsonl of 20{said.out.split('of 20')[1][:8]}, read from a recording of {kind}: " in first
    assert "Reckoned as if the 6." in first or "Reckoned as if the 5." in first
    found = json.loads(run(["budget", "--session", session.name, "--json"], folder).out)["basis"]
    assert (found["calibration"], found["session"]["source"]) == (None, kind)
    low, high = found["session"]["interval_s"]
    assert found["offset_u_s"] == pytest.approx((high - low) / 2 / stats.norm.ppf(0.975))
    assert low <= 0.006 <= high
    (folder / "rig.toml").write_text(rig_text("1/15"), encoding="utf-8")
    other = run(["limits", "--session", session.name], folder)
    assert other.code == 2
    assert f"was made at {exposure}+{exposure}, the rig is set to 1/15+1/15" in " ".join(other.err.split())


def test_a_rehearsal_by_sound_leads_to_an_answer_as_it_says(tmp_path: Path) -> None:
    """On the fen rig, whose times are unequal: what it says to try is run to the letter."""
    said = run(["recording", "--rehearse", "sound"], tmp_path)
    assert said.code == 0, said.said
    line = next(one for one in said.out.splitlines() if one.startswith("Try: coincide "))
    done = run(line.removeprefix("Try: coincide ").split(), tmp_path)
    assert done.code == 0, done.said
    assert "20 pairs of both bodies, 3 of A alone, 3 of B alone" in " ".join(done.out.split())
    assert "after Lapwing (A)" in done.out
    assert "the same rig with both at 1/30" in " ".join(said.out.split())


def test_json_and_a_script_are_told_too(session: Path) -> None:
    found = json.loads(run(["report", str(session), "--json"], session.parent).out)
    assert found["source"]["kind"] == session.parent.name.rstrip("0123456789")
    assert found["source"]["file"] == "evening.wav"
    assert re.fullmatch("[0-9a-f]{64}", found["source"]["sha256"])
    assert found["source"]["bodies_named"] is True
    assert all(lag is None for lag in found["pairs"]["lag_a_s"])
    recording = coincide.load(session).measured.known.recording
    assert recording is not None
    assert recording.file == "evening.wav"
    assert np.isnan(coincide.pairs(session)["lag_a_s"]).all()
