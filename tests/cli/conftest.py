"""The acknowledgement of the cautions, in a folder of the test's own; one calibration for all who only read it."""

from __future__ import annotations

from pathlib import Path

import pytest

from coincide.bench.opening import acknowledge
from tests.cli.running import run


@pytest.fixture
def unacknowledged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(acknowledge, "user_config_path", lambda *_, **__: tmp_path / "config")


@pytest.fixture
def acknowledged(unacknowledged: None) -> None:
    acknowledge.acknowledge()


@pytest.fixture(scope="session")
def calibrated_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the rig of 'rig new' and its calibration on the simulated box; to be copied, not written to."""
    folder = tmp_path_factory.mktemp("calibrated")
    for words in (["rig", "new"], ["calibrate"]):
        ran = run(words, folder)
        assert ran.code == 0, ran.said
    return folder
