"""The pictures of docs/at-the-light-table.md, from a photograph that scikit-image bundles: no film was exposed.

Run from the repository: python docs/pictures/make_scans.py
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np
from PIL import Image

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parents[1]))

from coincide.cli import coincide  # noqa: E402
from coincide.scans.file import read_pixels  # noqa: E402
from tests.scans.pairs import Change, Mover, make_pair  # noqa: E402


def main() -> None:
    mover = Mover(at=(300.0, 120.0), size=(90, 70), by=(9.0, 0.0), look="gravel")
    change = Change(turn_deg=0.9, shift=(5.0, -3.0), tones="invert", grain=0.01, movers=(mover,))
    pair = make_pair("coffee", change, seed=5)
    with tempfile.TemporaryDirectory() as folder:
        paths = [Path(folder) / "a.png", Path(folder) / "b.png"]
        for path, image in zip(paths, (pair.a, pair.b), strict=True):
            Image.fromarray((image * 255).astype(np.uint8)).save(path)
        drawn = Path(folder) / "drawn"
        merged, fringes = Path(folder) / "merged.tif", Path(folder) / "fringes.png"
        arguments = ["scans", *map(str, paths), "--dpi", "4000", "--pictures", str(drawn)]
        arguments += ["--merged", str(merged), "--fringes", str(fringes)]
        coincide.main(arguments, standalone_mode=False)
        pixels, _ = read_pixels(merged)
        Image.fromarray((pixels >> 8).astype(np.uint8)).save(HERE / "scans-merged.jpg", quality=82)
        Image.open(fringes).convert("RGB").save(HERE / "scans-fringes.jpg", quality=82)
        for name in ("before", "after", "moved"):
            picture = Image.open(drawn / f"{name}.png").convert("RGB")
            picture.save(HERE / f"scans-{name}.jpg", quality=82)


if __name__ == "__main__":
    main()
