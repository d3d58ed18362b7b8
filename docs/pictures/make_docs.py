"""The pictures of docs/choosing-sensors.md and docs/three-common-faults.md, from simulated series: invented data.

Run from the repository: python docs/pictures/make_docs.py
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from coincide.bench.calibration import calibrate
from coincide.bench.firing import Firing, bench, fire
from coincide.bench.opening.simulation import world_for
from coincide.bench.person import Unattended
from coincide.box.cable.client import BoxClient
from coincide.box.simulated.port import open_simulated
from coincide.report.plots.palette import ACCENT, BODY_COLOUR, DOUBT, FAINT, INK, RC, WITHIN, WITHIN_EDGE
from coincide.report.plots.series import save
from coincide.rig.file import load_rig
from coincide.rig.new import write_new
from coincide.session.file import read_session
from coincide.timing.analysis import Analysis, analyse

HERE = Path(__file__).parent
LEARNED = "sync contact alone,\nlater"


def fired(folder: Path, name: str, rig_text: str, world: str | None, pairs: int) -> Analysis:
    """A simulated series with this rig file, in this world."""
    rig_path = folder / f"{name}.toml"
    rig_path.write_text(rig_text, "utf-8")
    path = folder / f"{name}.jsonl"
    rig = load_rig(rig_path)
    client = BoxClient(open_simulated(world_for(rig, world), seed=1))
    fire(bench(client, rig_path, Unattended()), path, Firing("series", pairs))
    return analyse(read_session(path))


def learn(folder: Path, text: str) -> None:
    """An evening with gate sensors: a calibration beside `learned.toml`."""
    rig_path = folder / "learned.toml"
    rig_path.write_text(text, "utf-8")
    client = BoxClient(open_simulated(world_for(load_rig(rig_path), None), seed=2))
    calibrate(client, rig_path, (40, 30), (), Unattended())


def sensors(folder: Path, text: str) -> Figure:
    """Half the 95 % interval of the offset, by what sees the bodies."""
    bare = "".join(line for line in text.splitlines(keepends=True) if not line.startswith("gate_1"))
    rigs = {
        "sync contact alone": bare,
        "one gate sensor each": text,
        LEARNED: bare,
    }
    names, halves = [], []
    for name, rig_text in rigs.items():
        if name == LEARNED:
            learn(folder, text)
        analysis = fired(folder, "learned" if name == LEARNED else f"only {name}", rig_text, None, 30)
        found = analysis.suggestion
        assert found is not None
        names.append(name)
        halves.append((found.interval_s[1] - found.interval_s[0]) / 2 * 1e3)
    with mpl.rc_context(RC):
        figure = Figure(figsize=(8.0, 2.3), layout="constrained")
        axes = figure.add_subplot()
        axes.set_title("How well the offset is known, thirty pairs, 95 %")
        axes.barh(
            names, [2 * half for half in halves], left=[-half for half in halves], color=ACCENT, height=0.5
        )
        for row, half in enumerate(halves):
            axes.annotate(f"±{half:.2g} ms", (half + 0.1, row), va="center", color=INK)
        axes.set_xlim(-1.25 * max(halves), 1.35 * max(halves))
        axes.set_xlabel("offset, ms about its best value")
        axes.grid(axis="y", visible=False)
        axes.invert_yaxis()
    return figure


def faults(folder: Path, text: str) -> Figure:
    """Three panels of skew by shot."""
    with mpl.rc_context(RC):
        figure = Figure(figsize=(8.0, 3.0), layout="constrained")
        missed, post, rest = figure.subplots(1, 3, sharey=False)
        for axes, title in (
            (missed, "1. No answer"),
            (post, "2. The wrong post"),
            (rest, "3. Late after a rest"),
        ):
            axes.set_title(title, fontsize=11)
            axes.set_xlabel("shot")
        missed.set_ylabel("skew, ms")
        _dots(missed, fired(folder, "missed", text, "missed fires", 20))
        bare = "".join(line for line in text.splitlines(keepends=True) if not line.startswith("gate_1"))
        world = "contact of an M post"
        _dots(post, fired(folder, "gate", text, world, 20), label="gate sensor")
        _dots(
            post,
            fired(folder, "sync", bare, world, 20),
            colour=BODY_COLOUR[1],
            marker="D",
            label="sync contact",
        )
        post.legend(loc="center left", fontsize=8)
        _dots(rest, fired(folder, "rest", text, "ennerby fen", 20))
    return figure


def _dots(axes: Axes, analysis: Analysis, colour: str = INK, marker: str = "o", label: str = "") -> None:
    measured = analysis.measured
    number, skew_ms = measured.shots.number, measured.skew_s * 1e3
    centre_ms, tolerance_ms = float(np.nanmedian(skew_ms)), measured.tolerance_s * 1e3
    axes.axhspan(
        centre_ms - tolerance_ms,
        centre_ms + tolerance_ms,
        facecolor=WITHIN,
        edgecolor=WITHIN_EDGE,
        linewidth=0.8,
    )
    axes.scatter(number, skew_ms, s=14, color=colour, marker=marker, label=label, zorder=3)
    for shot in number[~np.isfinite(skew_ms)]:
        axes.plot(
            [shot], [0.03], transform=axes.get_xaxis_transform(), marker="x", color=DOUBT, clip_on=False
        )
    axes.tick_params(labelcolor=INK, color=FAINT)


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        text = write_new(folder / "rig.toml").read_text("utf-8")
        for title, draw in (("sensors", sensors), ("faults", faults)):
            picture = HERE / f"{title}.png"
            picture.unlink(
                missing_ok=True
            )  # the kept one was made smaller, which the writer takes for a stranger's
            save(draw(folder, text), picture)


if __name__ == "__main__":
    main()
