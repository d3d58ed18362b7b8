"""The table of single faults, and which of them the interlock covers; read against what the parts are for."""

from __future__ import annotations

from pathlib import Path

from coincide_wiring.check.single_faults import as_markdown, release_faults

PAGE = Path(__file__).parents[3] / "docs" / "wiring-faults.md"
FAULTS = {(one.part, one.fails): one for one in release_faults()}


def test_the_page_holds_the_table() -> None:
    assert as_markdown() in PAGE.read_text(encoding="utf-8")


def test_every_part_of_the_path_fails_short_and_open() -> None:
    parts = {"R11A", "R12A", "R13A", "R14A", "K11A", "K12A", "D11A", "D12A", "R621", "R622", "C621"}
    parts |= {"S62 sense", "S62 return", "U1 half_a", "U1 full_a"}
    assert {part for part, _ in FAULTS} == parts
    for part in parts:
        assert sum(one == part for one, _ in FAULTS) >= 2, part


def test_only_a_contact_bridged_on_the_bodys_own_side_defies_an_open_interlock_by_itself() -> None:
    """An isolator whose contact has welded, its suppressor failed short: nothing on the board's side reaches them."""
    defiant = {key for key, one in FAULTS.items() if one.stays_closed and one.closed_at_rest}
    assert defiant == {
        (ref, fails) for ref, fails in FAULTS if (ref[0], fails) in (("K", "contact short"), ("D", "short"))
    }
    # The return pole bridged leaves the chip's own reading of the other pole; the chip stuck leaves the return pole.
    assert {key for key, one in FAULTS.items() if not one.covered} - defiant == {("S62 return", "short")}


def test_an_output_stuck_high_is_opened_by_the_interlock_without_the_chip() -> None:
    for output in ("half_a", "full_a"):
        stuck = FAULTS[f"U1 {output}", "output stuck high"]
        assert stuck.closed_at_rest == (f"A_{output[:4].upper()}",)
        assert stuck.covered


def test_what_reads_closed_for_ever_is_never_seen_open_so_that_the_box_refuses_to_arm() -> None:
    unseen = {key for key, one in FAULTS.items() if not one.reads_open}
    assert unseen == {("C621", "short"), ("S62 sense", "short"), ("R621", "open")}


def test_a_fault_that_fires_at_boot_does_so_with_the_interlock_closed_only() -> None:
    boot = {key for key, one in FAULTS.items() if one.at_boot and not one.closed_at_rest}
    assert boot == {("R13A", "open"), ("R14A", "open")}
    assert all(FAULTS[key].covered for key in boot)
