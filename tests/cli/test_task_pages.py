"""The pages by task: every example is run, in the order of the page, and prints what the page shows."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.cli.fen import DOCS
from tests.cli.pages import console_blocks, end_of
from tests.cli.running import run


def empty(folder: Path, patch: pytest.MonkeyPatch, once: Path) -> None:
    """The invented rig as `rig new` writes it."""
    assert run(["rig", "new"], folder).code == 0


def calibrated(folder: Path, patch: pytest.MonkeyPatch, once: Path) -> None:
    shutil.copytree(once, folder, dirs_exist_ok=True)


def without_gates(folder: Path, patch: pytest.MonkeyPatch, once: Path) -> None:
    """Three rigs: the invented one, the same with the lines gate_1 taken out, and one that lost them later."""
    calibrated(folder, patch, once)
    text = (folder / "rig.toml").read_text("utf-8")
    bare = "".join(one for one in text.splitlines(keepends=True) if not one.startswith("gate_1"))
    for name, written in (("with-gates", text), ("sync-only", bare), ("rig", bare)):
        (folder / f"{name}.toml").write_text(written, "utf-8")


def leaves(folder: Path, patch: pytest.MonkeyPatch, once: Path) -> None:
    (folder / "rig.toml").write_text((DOCS / "rigs" / "plover-and-dunlin.toml").read_text("utf-8"), "utf-8")


def nothing(folder: Path, patch: pytest.MonkeyPatch, once: Path) -> None:
    """An empty folder, and nobody's acknowledgement of the cautions."""
    patch.setattr("coincide.bench.opening.acknowledge.user_config_path", lambda *_, **__: folder / "config")


def on_the_simulated_box(words: list[str]) -> list[str]:
    """The same without --port: a page may show the port of its reader's box."""
    if "--port" not in words:
        return words
    at = words.index("--port")
    return words[:at] + words[at + 2 :]


# The pages show a box that is plugged in; what a simulated one makes lies apart.
APART = "simulated/"

PAGES = {
    "first-calibration.md": nothing,
    "before-a-shoot.md": calibrated,
    "on-the-day.md": calibrated,
    "choosing-sensors.md": without_gates,
    "leaf-and-large-format.md": leaves,
    "three-common-faults.md": empty,
    "without-a-box.md": empty,
}


@pytest.mark.parametrize("page", PAGES)
def test_the_page_shows_what_the_commands_print(
    tmp_path: Path, page: str, monkeypatch: pytest.MonkeyPatch, calibrated_once: Path
) -> None:
    PAGES[page](tmp_path, monkeypatch, calibrated_once)
    blocks = console_blocks(page)
    assert blocks
    for words, shown in blocks:
        ran = run(on_the_simulated_box(words), tmp_path)
        assert ran.code in (0, 1), ran.said
        printed = " ".join(ran.said.split()).replace(APART, "")
        at = 0
        for part in shown:
            end = end_of(part, printed, at)
            assert end is not None, (words, part, ran.out)
            at = end
