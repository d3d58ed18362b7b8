"""The acknowledgement of the cautions, in a folder of the test's own."""

from __future__ import annotations

from pathlib import Path

import pytest

from coincide.bench import acknowledge


@pytest.fixture
def unacknowledged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(acknowledge, "user_config_path", lambda *_, **__: tmp_path / "config")


@pytest.fixture
def acknowledged(unacknowledged: None) -> None:
    acknowledge.acknowledge()
