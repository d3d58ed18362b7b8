"""What other general-purpose programs write is read back as it was meant: a simulator's VCD, a telephone's AAC."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from coincide.bench.heard import Wish
from coincide.bench.recording import record
from coincide.errors import BadInput
from coincide.rehearsal.light import LightScene, light_evening
from coincide.session.file import read_session
from coincide.timing.analysis import analyse
from tests.recording.worlds import rig_text

PAIRS, SKEW_US, EXPOSURE_US = 6, 6000, 15_600
# Two exposures a second, B's late and turned over, an unknown and a floating level before the first.
BENCH = f"""
`timescale 1us / 100ns
module evening;
  reg D0, D1;
  reg [7:0] bus;
  integer pair;
  initial begin
    $dumpfile("evening.vcd");
    $dumpvars(0, evening);
    D0 = 1'bx; D1 = 1'bz; bus = 0;
    #1000 D0 = 0; D1 = 1;
    for (pair = 0; pair < {PAIRS}; pair = pair + 1) begin
      #1000000 D0 = 1; bus = pair;
      #{SKEW_US}.3 D1 = 0;
      #{EXPOSURE_US - SKEW_US} D0 = 0;
      #{SKEW_US} D1 = 1;
    end
    #1000 $finish;
  end
endmodule
"""


@pytest.mark.skipif(
    not (shutil.which("iverilog") and shutil.which("vvp")),
    reason="a Verilog simulator writes the VCD: apt-get install iverilog",
)
def test_a_vcd_of_a_verilog_simulator_is_read_as_it_was_played(tmp_path: Path) -> None:
    (tmp_path / "evening.v").write_text(BENCH, encoding="ascii")
    subprocess.run(["iverilog", "-o", "evening", "evening.v"], cwd=tmp_path, check=True, timeout=60)
    subprocess.run(["vvp", "-n", "evening"], cwd=tmp_path, check=True, timeout=60, stdout=subprocess.DEVNULL)
    wish = Wish("instrument", "D0=gate_a1 !evening.D1=gate_b1")
    account = record([tmp_path / "evening.vcd"], rig_text("1/60"), wish, tmp_path / "evening.jsonl")
    assert account.pairs == PAIRS
    measured = analyse(read_session(tmp_path / "evening.jsonl")).measured
    # A opens SKEW_US.3 before B and closes SKEW_US before it: the middles lie 0.15 us farther apart.
    assert measured.skew_s == pytest.approx(np.full(PAIRS, (SKEW_US + 0.15) * 1e-6), abs=2e-9)
    assert measured.mids.bodies[0].exposure_s == pytest.approx((EXPOSURE_US + 0.3) * 1e-6, abs=2e-9)


@pytest.mark.parametrize("ending", ["m4a", "mp4"])
def test_a_telephones_file_is_widened_for_light_and_refused_for_sound(ending: str, tmp_path: Path) -> None:
    av = pytest.importorskip("av", reason="telephones' files: pip install '.[telephone]'")
    evening = light_evening(LightScene(pairs=6, every_s=1.0, low_cut_hz=40.0, exposure_s=(1 / 64, 1 / 64)), 4)
    path = tmp_path / f"evening.{ending}"
    with av.open(str(path), "w", format="mp4") as container:
        stream = container.add_stream("aac", rate=evening.rate_hz, layout="stereo")
        stream.bit_rate = 128_000
        for first in range(0, len(evening.samples), 1024):
            part = np.ascontiguousarray(evening.samples[first : first + 1024].T)
            frame = av.AudioFrame.from_ndarray(part, format="fltp", layout="stereo")
            frame.sample_rate, frame.pts = evening.rate_hz, first
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    account = record([path], rig_text("1/60"), Wish("light"), tmp_path / "evening.jsonl")
    assert account.pairs == 6
    analysis = analyse(read_session(tmp_path / "evening.jsonl"))
    assert abs(float(np.mean(analysis.measured.skew_s)) - float(evening.skew_s.mean())) < 0.002
    assert "lossy file" in {one.name for body in analysis.measured.mids.bodies for one in body.parts}
    with pytest.raises(BadInput, match="lossy"):
        record([path], rig_text("1/60"), Wish("sound"), tmp_path / "no.jsonl")
    path.write_bytes(path.read_bytes()[:3000])
    with pytest.raises(BadInput, match=r"evening\.m"):
        record([path], rig_text("1/60"), Wish("light"), tmp_path / "no.jsonl")
    assert not (tmp_path / "no.jsonl").exists()
