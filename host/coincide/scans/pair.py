"""Two scan files compared: read, registered, searched for what moved."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from coincide.errors import BadInput
from coincide.scans.alignment import Floats
from coincide.scans.file import Scan, read_scan
from coincide.scans.gate import Gate, gate
from coincide.scans.motion import Motion, motion
from coincide.scans.register import Registration, register

STEPS = 6  # calls of `advance` for a pair, about


@dataclass(frozen=True, slots=True)
class Compared:
    """A pair of scans and everything found.

    bend_px: the most by which the map departs, anywhere in the frame, from plain shift, turn and scale (parallax, or
    lenses that differ); pixels of A. gates: the film gate in each scan, as far as it shows.
    """

    a: Scan
    b: Scan
    registration: Registration
    motion: Motion
    bend_px: float
    gates: tuple[Gate, Gate]

    @property
    def shift_px(self) -> tuple[float, float]:
        """Where A's centre lies in B less B's own centre, pixels of B, right and down."""
        width, height = self.registration.frame_b_px
        x, y = self.registration.at_centre.at_b_px
        return (x - (width - 1) / 2, y - (height - 1) / 2)


def compare(
    path_a: Path,
    path_b: Path,
    dpi: float | None = None,
    richest: str = "smooth",
    advance: Callable[[str], None] = lambda _: None,
) -> Compared:
    """Read and compare two scans. Raises BadInput for what cannot be read, or cannot be told."""
    if path_a.exists() and path_b.exists() and path_a.samefile(path_b):
        raise BadInput(f"{path_a}: both names are the same file; give the scan of A and the scan of B.")
    advance(f"reading {path_a.name}")
    a = read_scan(path_a, dpi)
    advance(f"reading {path_b.name}")
    b = read_scan(path_b, dpi)
    return compare_scans(a, b, richest, advance)


def compare_scans(
    a: Scan, b: Scan, richest: str = "smooth", advance: Callable[[str], None] = lambda _: None
) -> Compared:
    """The same for scans already read."""
    registration = register(a, b, advance, richest)
    gates = gate(a.grey), gate(b.grey)
    moved = motion(a, b, registration, advance, gates)
    return Compared(a, b, registration, moved, _bend_px(registration), gates)


def _bend_px(registration: Registration) -> float:
    """Distance of the map from the similarity that fits it best (Umeyama 1991, without weights)."""
    if registration.alignment.kind == "similarity":
        return 0.0
    width, height = registration.frame_a_px
    grid = np.meshgrid(np.linspace(0, width - 1, 15), np.linspace(0, height - 1, 15))
    points: Floats = np.stack([grid[0].ravel(), grid[1].ravel()], axis=1)
    there = registration.alignment.to_b(points)
    za = points[:, 0] * (-1 if registration.at_centre.mirrored else 1) + 1j * points[:, 1]
    zb = there[:, 0] + 1j * there[:, 1]
    za, zb = za - za.mean(), zb - zb.mean()
    gain = (zb * za.conj()).sum() / (np.abs(za) ** 2).sum()
    return float(np.abs(zb - gain * za).max() / math.sqrt(abs(gain) ** 2))
