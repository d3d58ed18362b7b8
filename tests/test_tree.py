"""The tree as it is imported: no circle anywhere; and no page left between two versions."""

from __future__ import annotations

import re
from pathlib import Path

import grimp

ROOT = Path(__file__).parents[1]
HOST = ROOT / "host" / "coincide"
LONGEST_COMMAND = 125  # lines: parse, call one procedure, print


def test_no_module_imports_itself_by_way_of_others() -> None:
    """Tarjan's way of finding rings, on the import graph that import-linter uses; imports for types count too."""
    graph = grimp.build_graph("coincide", "coincide_firmware", "coincide_wiring", cache_dir=None)
    links = {name: sorted(graph.find_modules_directly_imported_by(name)) for name in sorted(graph.modules)}
    # A package's own __init__ offers its modules; what they need of it are its submodules.
    packages = {name for name in links if graph.find_children(name)}
    order: dict[str, int] = {}
    low: dict[str, int] = {}
    stack: list[str] = []
    rings: list[list[str]] = []

    def visit(name: str) -> None:
        order[name] = low[name] = len(order)
        stack.append(name)
        for to in links[name]:
            if to in packages:
                continue
            if to not in order:
                visit(to)
                low[name] = min(low[name], low[to])
            elif to in stack:
                low[name] = min(low[name], order[to])
        if low[name] == order[name]:
            ring = stack[stack.index(name) :]
            del stack[stack.index(name) :]
            if len(ring) > 1:
                rings.append(ring)

    for name in links:
        if name not in order:
            visit(name)
    assert rings == []


def test_every_room_is_on_the_overview_page() -> None:
    page = (ROOT / "docs" / "overview.md").read_text("utf-8")
    for init in HOST.glob("**/__init__.py"):
        room = init.parent.relative_to(HOST)
        # The rooms of the command line are named after their commands.
        if room.parts and room.parts[:1] != ("cli",):
            assert f"`host/coincide/{room}`" in page or f"{room.name}/`" in page or f"{room}`" in page, room


def test_a_command_file_parses_calls_and_prints() -> None:
    rooms = [path for path in (HOST / "cli").glob("**/*.py") if "terminal" not in path.parts]
    long = {
        path.name: count
        for path in rooms
        if (count := len(path.read_text("utf-8").splitlines())) > LONGEST_COMMAND
    }
    assert not long


def test_no_merge_was_left_half_done() -> None:
    for path in sorted([*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md")]):
        marks = re.findall(r"^(?:<{7} |>{7} |={7}$)", path.read_text("utf-8"), re.MULTILINE)
        assert marks == [], path
