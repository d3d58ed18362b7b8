"""The pictures of docs/at-the-light-table.md, from an invented fen that is drawn: no film was exposed.

Run from the repository: python docs/pictures/make_scans.py
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np
import tifffile
from PIL import Image

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

import fen  # noqa: E402

from coincide.cli import coincide  # noqa: E402
from coincide.scans.files.scan import read_pixels  # noqa: E402

FRAMES = (7, 8, 9)


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        rows = ["a,b,frame"]
        for seed, frame in enumerate(FRAMES):
            for letter, image in zip("ab", fen.pair(seed), strict=True):
                path = folder / f"frame-{frame:02}-{letter}.tif"
                tifffile.imwrite(
                    path, (image * 65535).astype(np.uint16), photometric="rgb", resolution=(4000, 4000)
                )
            rows.append(f"frame-{frame:02}-a.tif,frame-{frame:02}-b.tif,{frame}")
        (folder / "table.csv").write_text("\n".join(rows) + "\n")
        arguments = ["scans", str(folder / "frame-07-a.tif"), str(folder / "frame-07-b.tif")]
        arguments += ["--pictures", str(folder / "drawn"), "--merged", str(folder / "merged.tif")]
        arguments += ["--fringes", str(folder / "fringes.png")]
        coincide.main(arguments, standalone_mode=False)
        roll = ["scans", "--roll", str(folder / "table.csv"), "--merged", str(folder / "roll")]
        coincide.main(roll, standalone_mode=False)
        pixels, _ = read_pixels(folder / "merged.tif")
        Image.fromarray((pixels >> 8).astype(np.uint8)).save(HERE / "scans-merged.jpg", quality=82)
        (sheet,) = (path for path in (folder / "roll").iterdir() if path.suffix != ".tif")
        pictures = {"fringes": folder / "fringes.png", "sheet": sheet}
        pictures |= {one: folder / "drawn" / f"{one}.png" for one in ("before", "after", "moved")}
        for one, path in pictures.items():
            Image.open(path).convert("RGB").save(HERE / f"scans-{one}.jpg", quality=82)


if __name__ == "__main__":
    main()
