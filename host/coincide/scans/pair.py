"""Two scan files compared: read, registered, searched for what moved."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from coincide.errors import BadInput
from coincide.scans.files.scan import Scan, read_scan
from coincide.scans.moved.motion import Motion, motion
from coincide.scans.register.bend import Bend, bend_of
from coincide.scans.register.gate import Gate, gate
from coincide.scans.register.lay import Registration, register

STEPS = 6  # calls of `advance` for a pair, about


@dataclass(frozen=True, slots=True)
class Compared:
    """A pair of scans and everything found.

    bend: by how much the map departs from plain shift, turn and scale, and why, as far as that can be told. gates: the
    film gate in each scan, as far as it shows.
    """

    a: Scan
    b: Scan
    registration: Registration
    motion: Motion
    bend: Bend
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
    plainest: str = "similarity",
    advance: Callable[[str], None] = lambda _: None,
) -> Compared:
    """Read and compare two scans. Raises BadInput for what cannot be read, or cannot be told."""
    if path_a.exists() and path_b.exists() and path_a.samefile(path_b):
        raise BadInput(f"{path_a}: both names are the same file; give the scan of A and the scan of B.")
    advance(f"reading {path_a.name}")
    a = read_scan(path_a, dpi)
    advance(f"reading {path_b.name}")
    b = read_scan(path_b, dpi)
    return compare_scans(a, b, richest, plainest, advance)


def compare_scans(
    a: Scan,
    b: Scan,
    richest: str = "smooth",
    plainest: str = "similarity",
    advance: Callable[[str], None] = lambda _: None,
) -> Compared:
    """The same for scans already read."""
    registration = register(a, b, advance, richest, plainest)
    bend = bend_of(
        registration.alignment,
        registration.tiles_px[registration.still],
        registration.frame_a_px,
        registration.uncertainty_px,
    )
    gates = gate(a.grey), gate(b.grey)
    moved = motion(a, b, registration, advance, gates)
    return Compared(a, b, registration, moved, bend, gates)
