"""Water with nothing still: waves that repeat and went on between the pictures, each at its own speed."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

Reals = np.ndarray[Any, Any]


def waves(seed: int, later_s: float = 0.0, still: float = 0.0) -> Reals:
    """(360, 540) in 0..1, deep-water waves (omega squared = g k) about one main wave. `still`: part of the width
    that is a quay of fixed texture."""
    rng = np.random.default_rng([8, seed])
    rows, columns = 360, 540
    y, x = np.mgrid[:rows, :columns].astype(float)
    main = 2 * math.pi / rng.uniform(10, 24)
    out: Reals = np.zeros((rows, columns))
    lean = rng.uniform(-0.3, 0.3)
    for k in range(14):
        length = main * (1 + (0 if k == 0 else rng.normal(0, 0.02)))
        way = lean + rng.normal(0, 0.04)
        # A pixel is 5 cm: wave numbers in radians a metre are twenty times those a pixel.
        omega = math.sqrt(9.81 * length * 20)
        phase = rng.uniform(0, 2 * math.pi)
        out += (4.0 if k == 0 else 1.0) * np.sin(
            length * (x * math.sin(way) + y * math.cos(way)) + phase - omega * later_s
        )
    shown: Reals = np.asarray(0.5 + 0.4 * np.tanh(out / 5))
    if still:
        quay: Reals = np.random.default_rng([9, seed]).random((rows // 4, columns // 4))
        quay = np.kron(quay, np.ones((4, 4)))
        shown = np.where(x < still * columns, quay, shown)
    noise = np.random.default_rng([10, seed, round(later_s * 1000)]).standard_normal(shown.shape)
    return np.asarray(np.clip(shown + 0.01 * noise, 0, 1), np.float32)
