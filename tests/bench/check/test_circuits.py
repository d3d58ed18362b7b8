"""The circuits a box can have are named once, in the wiring; what is said of them covers them all."""

from __future__ import annotations

from coincide.bench.check.circuits import CIRCUITS, MEANS
from coincide_wiring.netlist import Build, sheets


def test_every_circuit_says_what_it_is_for() -> None:
    assert set(MEANS) == {name for _, _, names in CIRCUITS for name in names}


def test_every_circuit_can_be_built() -> None:
    for key, _, names in CIRCUITS:
        for name in names:
            assert sheets(Build(**{key: (name, name)})), name
