"""docs/reliability.md names a test for each fault, and every test it names exists and is of the kind it says."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "reliability.md").read_text(encoding="utf-8")
ROWS = [
    [cell.strip() for cell in line.strip("|").split("|")]
    for line in PAGE.splitlines()
    if line.startswith("| ") and not line.startswith(("| ---", "| Fault", "| What"))
]
_TEST = re.compile(r"((?:^@.*\n(?:^[ )\]].*\n)*)*)^(?:def )?(test_\w+)(\(| = .*)", re.MULTILINE)


def written() -> dict[str, str]:
    """Every test of the project by name, with what stands above it: its marks."""
    found: dict[str, str] = {}
    for path in (ROOT / "tests").rglob("test_*.py"):
        if "node_modules" not in path.parts:
            for match in _TEST.finditer(path.read_text(encoding="utf-8")):
                found[match[2]] = found.get(match[2], "") + match[1] + match[3]
    return found


def test_every_test_named_on_the_page_exists() -> None:
    named = set(re.findall(r"`(test_\w+)`", PAGE))
    assert len(named) > 80
    assert named <= set(written()), sorted(named - set(written()))


def test_every_fault_has_its_tries_its_outcome_and_its_test() -> None:
    assert len(ROWS) > 50
    for row in ROWS:
        assert len(row) == 4, row
        fault, tries, outcome, shown_by = row
        assert fault, row
        assert re.search(r"\d|every|random", tries), row
        assert outcome, row
        assert "`test_" in shown_by, row


def test_long_tries_are_of_long_tests() -> None:
    """A row that tells of a long campaign names one, and none that does not is only shown by one."""
    marks = written()
    for _, tries, _, shown_by in ROWS:
        named = re.findall(r"`(test_\w+)`", shown_by)
        soaked = [name for name in named if "mark.soak" in marks[name]]
        assert ("*long*" in tries and "in the *long*" not in tries and "of the *long*" not in tries) == bool(
            soaked
        ), (
            tries,
            named,
        )
        assert len(soaked) < len(named), named


def test_every_campaign_of_this_folder_is_on_the_page() -> None:
    own = {
        match[2]
        for path in Path(__file__).parent.glob("test_*.py")
        for match in _TEST.finditer(path.read_text(encoding="utf-8"))
    }
    about_the_page = {name for name in own if name in globals()}
    unnamed = own - about_the_page - set(re.findall(r"`(test_\w+)`", PAGE))
    assert unnamed <= {
        "test_a_right_one_is_read",
        "test_the_misreading_receiver_reads_right_at_the_right_rate",
        "test_what_no_box_can_be_is_refused",
        "test_a_box_that_asks_for_an_age_of_patience_is_asked_again",
    }, sorted(unnamed)


def test_the_page_says_what_was_not_seen() -> None:
    assert "Not seen on hardware" in PAGE
    assert "## Not seen on hardware, and not tried" in PAGE
