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
@pytest.mark.parametrize("width", [390, 820, 1280])
def test_the_edges_are_drawn_in_a_real_browser(tmp_path: Path, width: int) -> None:
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
            f"--window-size={width},900",
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
