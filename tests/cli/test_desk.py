"""The whole job at a desk, in the order of README and the pages: every command runs, and its first line is the answer.

docs/command-line.md shows these first lines; `[...]` stands for what differs from day to day. The line that says that
nothing real was measured comes before them.
"""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from coincide.box.cable import ports
from coincide.box.simulated.port import open_simulated
from tests.cli.fen import DOCS
from tests.cli.running import run
from tests.scans.pairs import Change, Mover, make_pair

# Methods are called by what they do (docs/maths.md has whose they are), and a board by its chip.
NAMES = re.compile(r"\b(Wilson|Welch|Student|Jeffreys|Grubbs|Wald|Fisher|Ville|Clopper|Bayes\w*|Pico)\b")

NO_ANSWER = {
    "box list": 1,
    "wiring terminal flash --volts 12": 1,
    "limits": 1,
    "budget": 1,
    "infrared": 1,
}  # the answer is 'no' for the invented rig


def rows() -> list[tuple[str, str]]:
    """(command, first line) of the table on the page."""
    page = (DOCS / "command-line.md").read_text("utf-8")
    table = page[page.index("| at a desk, in this order | it says first |") :]
    table = table[: table.index("\n\n")]
    return re.findall(r"^\| `coincide ?(.*?)` \| (.*?) \|$", table, re.M)


def pictures(folder: Path) -> None:
    """Two scans in which one thing moved."""
    mover = Mover(at=(260.0, 170.0), size=(72, 64), by=(6.4, -2.2), look="gravel")
    pair = make_pair("coffee", Change(turn_deg=0.8, shift=(4.0, 2.0), movers=(mover,)), seed=2)
    for name, pixels in (("frame-07-a.png", pair.a), ("frame-07-b.png", pair.b)):
        Image.fromarray((pixels * 255).astype(np.uint8)).save(folder / name)


def test_every_command_runs_at_a_desk_and_answers_first(
    tmp_path: Path, acknowledged: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    pictures(tmp_path)
    # What 'coincide box serve' offers behind its port, without the pseudo-terminal and the real time.
    monkeypatch.setattr(ports, "SerialPort", lambda _: open_simulated("wound by hand", seed=3))
    told = rows()
    assert len(told) > 24
    for words, shown in told:
        ran = run(shlex.split(words), tmp_path)
        assert ran.code == NO_ANSWER.get(words, 0), (words, ran.said)
        assert not NAMES.search(ran.said), words
        lines = [line for line in ran.out.splitlines() if line.strip() and not line.startswith("Simulated")]
        first, at = " ".join(lines[0].split()), 0
        for part in shown.split("[...]"):
            assert part.strip() in first[at:], (words, first)
            at = first.index(part.strip(), at) + len(part.strip())
        assert not re.match(r"[─ ]|\S+ {4,}\S", lines[0]), f"{words}: a table before the answer"
    for page in tmp_path.rglob("*.html"):
        assert not NAMES.search(re.sub(r"<script.*?</script>", "", page.read_text("utf-8"), flags=re.S)), page


def test_readme_and_pages_name_no_command_that_the_desk_leaves_out() -> None:
    """Each command of README's table is among those tried."""
    readme = (DOCS.parent / "README.md").read_text("utf-8")
    asked = re.findall(
        r"`(?:coincide )?([a-z]+)(?: check)?`", readme[readme.index("| the question |") :][:1200]
    )
    tried = {words.split()[0] for words, _ in rows() if words}
    assert set(asked) <= tried
