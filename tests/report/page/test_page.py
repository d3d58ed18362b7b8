"""The page: one file, nothing outside it, every stranger's word escaped; drawn in a real browser where there is one."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.cli.running import run

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
HOSTILE = "</script><script>alert(1)</script>"


def page(folder: Path, name: str = "Lapwing") -> Path:
    assert run(["rig", "new"], folder).code == 0
    rig = folder / "rig.toml"
    rig.write_text(rig.read_text().replace('name = "Lapwing"', f'name = "{name}"'))
    assert run(["series", "-n", "12", "--out", "s.jsonl"], folder).code == 0
    assert run(["report", "s.jsonl", "--to", "r"], folder).code == 0
    return folder / "r" / "s.html"


def test_nothing_is_fetched_and_the_landmarks_are_there(tmp_path: Path) -> None:
    text = page(tmp_path).read_text(encoding="utf-8")
    addresses = set(re.findall(r"https?://[^\s\"'<)]+", text))
    assert addresses <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
    assert not re.findall(r"<(?:link|script|img|iframe)[^>]+(?:src|href)=\"(?!data:)", text)
    for landmark in ("<header", "<nav", "<main", "<footer", 'lang="en"', 'class="skip"'):
        assert landmark in text
    assert text.index("<h1>") < text.index("<svg")  # the verdict comes before any picture


def test_a_hostile_name_stays_a_name(tmp_path: Path) -> None:
    text = page(tmp_path, HOSTILE[:40]).read_text(encoding="utf-8")
    assert "<script>alert" not in text
    assert text.count("<script") == 2
    assert "&lt;script&gt;" in text


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: apt-get install chromium")
def test_the_edges_are_drawn_in_a_real_browser(tmp_path: Path) -> None:
    """Chromium alone is enough for this one; test_browser.py does all the rest where its driver is there too."""
    assert CHROMIUM is not None
    ran = subprocess.run(
        [
            CHROMIUM,
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--no-first-run",
            "--disable-background-networking",
            "--host-resolver-rules=MAP * ~NOTFOUND",
            "--enable-logging=stderr",
            f"--user-data-dir={tmp_path / 'profile'}",
            "--window-size=390,900",
            "--dump-dom",
            page(tmp_path).as_uri(),
        ],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    assert "CONSOLE" not in ran.stderr
    drawn = ran.stdout[ran.stdout.index('id="edges"') :]
    assert "<path" in drawn[: drawn.index("</svg>")]
    assert re.search(r"Pair 1: skew [\d.]+ ms\.", drawn)


def measured_pages(folder: Path, offset: str) -> str:
    """A page about 16 pairs and 16 fresh ones with this offset on."""
    assert run(["rig", "new"], folder).code == 0
    assert run(["series", "-n", "16", "--out", "s.jsonl"], folder).code == 0
    assert run(["series", "-n", "16", "--offset", offset, "--out", "f.jsonl"], folder).code == 0
    assert run(["report", "s.jsonl", "--fresh", "f.jsonl", "--to", "r"], folder).code == 0
    return (folder / "r" / "s.html").read_text(encoding="utf-8")


def test_a_verdict_that_did_not_hold_says_so_at_once(tmp_path: Path) -> None:
    text = measured_pages(tmp_path, "B 5ms")
    heading = text[text.index("<h1>") : text.index("</h1>")]
    assert "do not trust it yet" in heading


def places(text: str) -> list[tuple[float, float]]:
    """(left, width) of the bars of the strip, per cent: A and B without an offset, then A and B with it."""
    strip = text[text.index('class="strip"') : text.index("</figure>")]
    bars = re.findall(r'class="bar [ab]" style="left:([\d.]+)%;width:([\d.]+)%"', strip)
    return [(float(left), float(width)) for left, width in bars]


def test_the_strip_shows_the_exposures_to_scale(tmp_path: Path) -> None:
    """The demo's bodies: 1/60 and 1/30, B about 20 ms late; held back by that, the middles meet."""
    bars = places(measured_pages(tmp_path, "A 20ms"))
    assert len(bars) == 4
    per_ms = bars[0][1] / (1000 / 64)
    assert bars[1][1] == pytest.approx(per_ms * 1000 / 32, rel=0.01)
    middle = [left + width / 2 for left, width in bars]
    assert (middle[1] - middle[0]) / per_ms == pytest.approx(20.0, abs=1.0)
    assert (middle[3] - middle[2]) / per_ms == pytest.approx(0.0, abs=1.0)
    assert middle[3] == pytest.approx(
        middle[1], abs=per_ms
    )  # the body that is not delayed stays where it was
    assert all(left >= 0 and left + width <= 100.01 for left, width in bars)


def test_only_dots_of_the_series_are_tied_to_a_pair(tmp_path: Path) -> None:
    """Few dots are drawn otherwise than many, and the legend has dots too."""
    assert run(["rig", "new"], tmp_path).code == 0
    assert (
        run(["series", "-n", "12", "--world", "stops after shot 7", "--out", "s.jsonl"], tmp_path).code == 1
    )
    assert run(["report", "s.jsonl", "--to", "r"], tmp_path).code == 0
    text = (tmp_path / "r" / "s.html").read_text(encoding="utf-8")
    drawing = text[text.index('class="wide"') : text.index('class="narrow"')]
    assert "Skew, shot by shot" in drawing
    assert sorted(int(number) for number in re.findall(r'data-pair="(\d+)"', drawing)) == list(range(1, 8))
    legend = drawing[drawing.index('id="skew-by-shot-legend') :]
    assert "data-pair" not in legend
