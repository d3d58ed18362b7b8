"""Operating curves of the readiness test by simulation; writes docs/ready.md and its picture.

    python -m tests.timing.ready_curves

Each try draws a calibration (its jitter and centre as uncertain as its shots make them), then fresh shots
of a body whose centre has really moved and whose jitter has really changed, and lets the test stop where it
will.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from coincide.timing.ready import GO_ON, NOT_READY, READY, TOUCH_UP, Calibrated, plan_ready, running_verdicts

DOCS = Path(__file__).parents[2] / "docs"
CALIBRATIONS = 60
TRIES = 60  # with each calibration

RIGS = ((0.10, 30), (0.20, 30), (0.30, 60), (0.40, 100))
SHIFTS = (0.0, 0.125, 0.25, 0.375, 0.5, 0.625)


@dataclass(frozen=True)
class Outcome:
    """Shares of tries, and mean number of shots."""

    ready: float
    touch_up: float
    not_ready: float
    shots: float

    @property
    def alarm(self) -> float:
        return self.touch_up + self.not_ready


def simulate(
    jitter: float,
    shots: int,
    shift: float,
    jitter_grown: float = 1.0,
    *,
    polling: bool = False,
    seed: int = 1,
) -> Outcome:
    """`jitter` and `shift` are in tolerances; `shots` those of the calibration. Calibrations too uncertain
    for the question are drawn again: there the test says so instead of testing."""
    rng = np.random.default_rng([seed, shots, int(jitter * 100), int(shift * 1000), int(jitter_grown * 10)])
    counts, used = np.zeros(4), 0
    for _ in range(CALIBRATIONS):
        while True:
            found = jitter * np.sqrt(rng.chisquare(shots - 1) / (shots - 1))
            known = Calibrated(1.0, found, shots, found / np.sqrt(shots))
            plan = plan_ready(known)
            if plan.impossible is None:
                break
        off = rng.normal(0.0, jitter / np.sqrt(shots), (TRIES, 1))
        size = (TRIES, plan.most)
        scatter = rng.uniform(-1, 1, size) * np.sqrt(3.0) if polling else rng.standard_normal(size)
        codes = running_verdicts(known, shift + off + jitter * jitter_grown * scatter)
        first = np.argmax(codes != GO_ON, axis=1)
        counts += np.bincount(codes[np.arange(TRIES), first], minlength=4)
        used += int((first + 1).sum())
    shares = counts / counts.sum()
    assert shares[GO_ON] == 0.0
    return Outcome(shares[READY], shares[TOUCH_UP], shares[NOT_READY], used / (CALIBRATIONS * TRIES))


def table() -> str:
    """The operating curves as a Markdown table."""
    lines = [
        "| jitter / tolerance | calibrated with | least - usual - most shots | true shift / tolerance | jitter | ready "
        "| touch up | not ready | mean shots |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for jitter, shots in RIGS:
        plan = plan_ready(Calibrated(1.0, jitter, shots, jitter / np.sqrt(shots)))
        for shift, grown in (*((shift, 1.0) for shift in SHIFTS), (0.0, 2.0)):
            got = simulate(jitter, shots, shift, grown)
            lines.append(
                f"| {jitter:.2f} | {shots} | {plan.least} - {plan.usual} - {plan.most} | {shift:g} | "
                f"{'doubled' if grown == 2 else 'same'} | {got.ready:.1%} | {got.touch_up:.1%} | "
                f"{got.not_ready:.1%} | {got.shots:.1f} |"
            )
    return "\n".join(lines)


BEGIN, END = "<!-- table by tests/timing/ready_curves.py -->", "<!-- end of table -->"


def draw(path: Path) -> None:
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot as plt

    figure, axes = plt.subplots(figsize=(7, 4.2), layout="constrained")
    shifts = np.linspace(0.0, 0.75, 16)
    for (jitter, shots), style in zip(RIGS, ("-", "--", "-.", ":"), strict=True):
        ready = [simulate(jitter, shots, float(shift)).ready for shift in shifts]
        axes.plot(shifts, ready, style, color="black", label=f"jitter {jitter:g} of tolerance, {shots} shots")
    axes.axvline(0.25, color="0.7")
    axes.axvline(0.5, color="0.7")
    axes.set(
        xlabel="true shift since calibration / tolerance", ylabel="share of tries found ready", ylim=(0, 1)
    )
    axes.legend(frameon=False, title="rig and its calibration")
    figure.savefig(path, dpi=120, metadata={"Software": None})
    plt.close(figure)


def main() -> None:
    page = DOCS / "ready.md"
    before, _, rest = page.read_text(encoding="utf-8").partition(BEGIN)
    after = rest.partition(END)[2]
    page.write_text(f"{before}{BEGIN}\n\n{table()}\n\n{END}{after}", encoding="utf-8")
    draw(DOCS / "ready.png")


if __name__ == "__main__":
    main()
