"""What bringing the middles together leaves, against what the simulated shutters did."""

from __future__ import annotations

import numpy as np
import pytest

from coincide.box.simulated.worlds import world_spec
from coincide.report.words.left_over import left_at_each_end_s, what_it_leaves
from tests.timing.simulated import INPUTS, fired


@pytest.mark.parametrize(
    ("marks", "seconds"), [(("1/60", "1/30"), (1 / 64, 1 / 32)), (("1/30", "1/125"), (1 / 32, 1 / 128))]
)
def test_the_longer_exposure_reaches_out_at_both_ends(
    marks: tuple[str, str], seconds: tuple[float, float]
) -> None:
    changes: dict[str, object] = {}
    for letter, mark in zip("ab", marks, strict=True):
        changes |= {
            f"bodies.{letter}.wind": "motor",
            f"bodies.{letter}.shutter.exposure": mark,
            f"bodies.{letter}.sensors.gate_1": {"position": 0.5, **INPUTS},
        }
    found = fired(world_spec("steady").with_exposures(*seconds), changes, pairs=12)
    true = float(np.mean([(real.exposure_s[1] - real.exposure_s[0]) / 2 for real in found.truth]))
    assert left_at_each_end_s(found.analysis) == pytest.approx(true, abs=5e-5)
    (said,) = what_it_leaves(found.analysis)
    longer = ("Lapwing (A)", "Bittern (B)")[int(true > 0)]
    assert f"{longer} at 1/30 still opens {abs(true) * 1e3:.1f}"[:-2] in said


def test_equal_exposures_leave_nothing_to_say() -> None:
    changes: dict[str, object] = {f"bodies.{letter}.wind": "motor" for letter in "ab"}
    changes |= {f"bodies.{letter}.shutter.exposure": "1/60" for letter in "ab"}
    found = fired(world_spec("steady").with_exposures(1 / 64, 1 / 64), changes, pairs=12)
    assert what_it_leaves(found.analysis) == ()
