"""Two scans as large as scanners make them, in the time one waits; accuracy beside the library used plainly."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from skimage.registration import optical_flow_tvl1, phase_cross_correlation

from coincide.scans.files.scan import Scan
from coincide.scans.moved.motion import motion
from coincide.scans.register.lay import register
from tests.scans.large import write_large_pair
from tests.scans.pairs import Change, Mover, error_rms, grey, make_pair

pytestmark = pytest.mark.benchmark

COMPARE = """
import json, sys, time
import numpy as np
from coincide.scans.pair import compare
from pathlib import Path
begin = time.perf_counter()
found = compare(Path(sys.argv[1]), Path(sys.argv[2]), 4000.0)
took = time.perf_counter() - begin
# The peak of this program alone: what getrusage tells is that of the process it was forked from, too.
status = dict(line.split(":", 1) for line in open("/proc/self/status"))
peak = int(status["VmHWM"].split()[0]) / 1024
regions = [region.by_px for region in found.motion.regions]
corner = found.registration.alignment.to_b(np.zeros((1, 2)))[0].tolist()
print(json.dumps([took, peak, regions, corner]))
"""


@pytest.mark.parametrize(
    ("size", "suffix", "most_s", "most_mb"),
    [((9500, 6350), "tif", 60.0, 3000.0), ((3880, 2590), "jpg", 10.0, 3000.0)],
    ids=["60 megapixels, 16 bit", "10 megapixels, JPEG"],
)
def test_large_scans(
    tmp_path: Path, size: tuple[int, int], suffix: str, most_s: float, most_mb: float
) -> None:
    a, b, truth = write_large_pair(tmp_path, *size, suffix)
    ran = subprocess.run(
        [sys.executable, "-c", COMPARE, str(a), str(b)], capture_output=True, text=True, check=True
    )
    took_s, peak_mb, regions, corner = json.loads(ran.stdout)
    off_px = float(np.hypot(*(np.array(corner) - truth[:2, 2])))
    print(
        f"\n{size[0]} x {size[1]} {suffix}: {took_s:.1f} s, {peak_mb:.0f} MB, corner off by {off_px:.2f} px, {regions}"
    )
    assert took_s < most_s
    assert peak_mb < most_mb
    assert off_px < 1.0


@pytest.mark.parametrize("tones", ["same", "invert"])
def test_beside_phase_correlation_and_optical_flow(tones: str) -> None:
    """The library's tools know shift only, so the pair is only shifted; flow is given the pair laid on itself."""
    by = (5.0, -3.0)
    pair = make_pair(
        "coffee",
        Change(shift=(6.0, 3.0), tones=tones, movers=(Mover((250, 170), (80, 80), by, "gravel"),)),
        3,
    )
    a, b = grey(pair.a), grey(pair.b)
    begin = time.perf_counter()
    found = register(Scan("a", a), Scan("b", b))
    regions = motion(Scan("a", a), Scan("b", b), found).regions
    ours_s = time.perf_counter() - begin
    ours_px = error_rms(found.alignment, pair)
    ours_moved = min(
        (float(np.hypot(r.by_px[0] - by[0], r.by_px[1] - by[1])) for r in regions), default=np.inf
    )

    begin = time.perf_counter()
    shift, _, _ = phase_cross_correlation(b, a, upsample_factor=20)
    phase_px = float(np.hypot(shift[1] - 6.0, shift[0] - 3.0))
    laid = np.roll(b, (-3, -6), axis=(0, 1))
    flow_y, flow_x = optical_flow_tvl1(a, laid)
    inside = (slice(150, 190), slice(230, 270))
    flow_px = float(np.hypot(np.median(flow_x[inside]) - by[0], np.median(flow_y[inside]) - by[1]))
    library_s = time.perf_counter() - begin
    print(
        f"\n{tones}: still {ours_px:.3f} px against {phase_px:.3f} by phase correlation; moved {ours_moved:.2f} px "
        f"against {flow_px:.2f} by optical flow; {ours_s:.1f} s against {library_s:.1f} s"
    )
    assert ours_px < 0.1
    assert ours_moved < 0.5
    if tones == "invert":
        assert ours_moved < flow_px
    assert ours_px <= phase_px + 0.1
