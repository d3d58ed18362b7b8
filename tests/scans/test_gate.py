"""The film frame's own border, shown by both scans, is no moving thing; and no picture without one is masked."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from coincide.scans.file import Scan
from coincide.scans.gate import gate
from coincide.scans.motion import motion
from coincide.scans.register import register
from tests.scans.pairs import grey, photograph
from tests.scans.places import placed


def framed(image: np.ndarray, border: int, turn_deg: float, level: float) -> np.ndarray:
    """`image` behind a gate that stands turned by a little: `level` outside it."""
    inside = np.zeros(image.shape)
    inside[border:-border, border:-border] = 1.0
    inside = np.clip(ndimage.rotate(inside, turn_deg, reshape=False, order=1), 0, 1)
    return (image * inside + level * (1 - inside)).astype(np.float32)


@pytest.mark.parametrize("level", [0.01, 0.99], ids=["dark", "light"])
def test_a_border_in_both_scans_did_not_move(level: float) -> None:
    pair = placed(4, moved=False)
    a = Scan("a", framed(pair.a, 14, 0.3, level))
    b = Scan("b", framed(pair.b, 22, -0.5, level))
    assert np.asarray(gate(a.grey)[0])[:8].any()
    assert motion(a, b, register(a, b)).regions == ()


@pytest.mark.parametrize("name", ["coffee", "rocket", "cat", "coins"])
def test_no_border_is_seen_where_there_is_none(name: str) -> None:
    assert not gate(grey(photograph(name)))[0].any()
