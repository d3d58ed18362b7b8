"""Plans of the invented rig, changed as a test wants."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from coincide.planning.basis import Basis, basis_of
from coincide.report.card.content import CardContent, card_content
from coincide.rig.calibration import Calibration, Found
from tests.rig.rigs import rig_with
from tests.rig.test_calibration import CALIBRATION


def found_with(**changes: Any) -> Found:
    """The calibration of the fen rig as a file that was found."""
    calibration: Calibration = replace(CALIBRATION, **({"rig": {}} | changes))
    return Found(Path(f"rig-calibration-{calibration.preset.replace('/', '-')}.toml"), calibration)


def basis_with(changes: dict[str, Any] | None = None, **calibration: Any) -> Basis:
    """What a plan of the changed rig rests on."""
    return basis_of(rig_with(changes), [found_with(**calibration)])


def content_with(changes: dict[str, Any] | None = None, *others: Found, **calibration: Any) -> CardContent:
    """The card of the changed rig."""
    basis = basis_with(changes, **calibration)
    assert basis.found is not None
    return card_content(basis, [basis.found, *others], "9.9.9")
