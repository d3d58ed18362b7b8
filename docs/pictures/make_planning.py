"""Makes the pictures of docs/planning.md: run it from anywhere, `python docs/pictures/make_planning.py`."""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

from coincide.rig.new import write_new

HERE = Path(__file__).parent
FORMATS = HERE.parent / "formats.md"


def fen_rig(folder: Path) -> Path:
    """The invented rig of `coincide rig new`, and beside it the calibration printed in docs/formats.md."""
    blocks = re.findall(r"^```toml\n(.*?)^```", FORMATS.read_text("utf-8"), re.MULTILINE | re.DOTALL)
    calibration = next(block for block in blocks if 'format = "coincide-calibration"' in block)
    invented = calibration.replace('box = "e6614c31"', 'box = "sim-00000001"')
    (folder / "rig-calibration-20310504-061200-1-60+1-30.toml").write_text(invented, "utf-8")
    return write_new(folder / "rig.toml")


def main() -> None:
    """The limits, the skew over the frame of a rig mounted badly, and the card."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        rig = fen_rig(folder)
        turned = folder / "turned" / "rig.toml"
        turned.parent.mkdir()
        toml = rig.read_text("utf-8")
        turned.write_text(toml.replace('= "towards the scene"', '= "towards the photographer"'), "utf-8")
        for arguments in (
            ("limits", "--lens", "35 mm", "--lens", "90 mm", "--to", "plan"),
            ("limits", "--rig", str(turned), "--jitter", "1.1 ms", "--to", "turned"),
            ("card", "--to", "plan"),
        ):
            command = [sys.executable, "-c", "from coincide.cli import main; main()", *arguments]
            ran = subprocess.run(command, cwd=folder, check=False, stdout=subprocess.DEVNULL)
            if ran.returncode not in (0, 1):  # 1: the invented cyclist is not kept, and is drawn all the same
                raise SystemExit(ran.returncode)
        for made, kept in (
            ("plan/limits.png", "limits.png"),
            ("turned/skew-map.png", "skew-against.png"),
            ("plan/card.png", "card.png"),
        ):
            _keep(folder / made, HERE / kept)


def _keep(made: Path, kept: Path) -> None:
    """Small enough for a page: at most 1000 pixels wide, 256 colours."""
    with Image.open(made) as image:
        picture = image.convert("RGB")
        if picture.width > 1000:
            picture = picture.resize(
                (1000, round(picture.height * 1000 / picture.width)), Image.Resampling.LANCZOS
            )
        picture.quantize(256).save(kept, optimize=True)


if __name__ == "__main__":
    main()
