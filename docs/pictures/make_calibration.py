"""The pictures of docs/first-calibration.md and the README, from a simulated series: invented data.

Run from the repository: python docs/pictures/make_calibration.py
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from coincide.bench.calibration import calibrate
from coincide.bench.opening.simulation import world_for
from coincide.bench.person import Unattended
from coincide.box.cable.client import BoxClient
from coincide.box.simulated.port import open_simulated
from coincide.report.plots.figures import comparison_figure, session_figures
from coincide.report.plots.series import save
from coincide.rig.file import load_rig
from coincide.rig.new import write_new

HERE = Path(__file__).parent


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        rig_path = write_new(Path(folder) / "rig.toml")
        client = BoxClient(open_simulated(world_for(load_rig(rig_path), None), seed=1))
        done = calibrate(client, rig_path, (40, 30), (), Unattended())
    assert done.analysis is not None
    assert done.fresh_analysis is not None
    for name, figure in session_figures(done.analysis).items():
        save(figure, HERE / f"{name}.png")
    save(
        comparison_figure(done.analysis, done.fresh_analysis.measured, done.verification),
        HERE / "before-after.png",
    )


if __name__ == "__main__":
    main()
