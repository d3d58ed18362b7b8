"""What two scans show, as plain objects for `--json`; the format is documented in docs/formats.md."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from coincide.ghost.explain import Explanation
from coincide.ghost.mount.error import MountError
from coincide.ghost.roll import RollRow, RollSummary
from coincide.report.scan_files import Made
from coincide.scans.pair import Compared
from coincide.scans.register.lay import Registration

SCANS_FORMAT = "coincide-scans-result"


def _places(registration: Registration) -> list[dict[str, Any]]:
    """How far the map may be off over the frame: standard uncertainties of each component."""
    places, u_px = registration.trust.grid_px(registration.frame_a_px)
    return [
        {"at_px": place.tolist(), "u_px": float(u)}
        for place, u in zip(places.reshape(-1, 2), u_px.ravel(), strict=True)
    ]


def scans_json(found: Compared, made: Made, mount: MountError | None = None) -> dict[str, Any]:
    """A pair. Lengths in pixels of A unless the name says otherwise; `map` takes pixels of A to pixels of B."""
    registration, at = found.registration, found.registration.at_centre
    return {
        "format": SCANS_FORMAT,
        "version": 1,
        "a": {"name": found.a.name, "size_px": registration.frame_a_px, "pitch_um": found.a.pitch_um},
        "b": {"name": found.b.name, "size_px": registration.frame_b_px, "pitch_um": found.b.pitch_um},
        "registration": {
            "kind": registration.alignment.kind,
            "mirrored": at.mirrored,
            "turn_deg": at.turn_deg,
            "scale": at.scale,
            "shift_b_px": found.shift_px,
            "bend_px": found.bend.px,
            "bend": found.bend,
            "static_rms_px": registration.static_rms_px,
            "u_px": registration.uncertainty_px,
            "places_u_px": _places(registration),
            "places": len(registration.still),
            "still": int(registration.still.sum()),
            "share": registration.share,
            "criterion": registration.criterion,
            "map": {
                "matrix": registration.alignment.matrix,
                "bend": registration.alignment.bend,
                "centre_px": registration.alignment.centre,
                "reach_px": registration.alignment.reach,
            },
        },
        "looked_for": {
            "least_region_px": found.motion.least_region_px,
            "least_move_px": found.motion.least_move_px,
            "most_move_px": found.motion.most_move_px,
            "judged": found.motion.judged,
            "contours": found.motion.contours,
            "least_outline_px": found.motion.least_outline_px,
        },
        "regions": [
            {
                "number": number,
                "centre_px": region.centre_px,
                "box_px": region.box_px,
                "area_px": region.area_px,
                "by_px": region.by_px,
                "u_px": region.u_px,
                "clear": region.clear,
                "confidence": region.confidence,
                "across": region.across,
            }
            for number, region in enumerate(found.motion.regions, 1)
        ],
        "mount": mount,
        "registered": made.registered,
        "merged": made.merged,
        "fringes": None
        if made.fringes is None
        else {"by_cause": made.fringes.by_cause, "u_px": made.fringes.u_px},
        "written": [str(path) for path in made.paths],
    }


def roll_json(
    rows: tuple[RollRow, ...], summary: RollSummary, written: Sequence[Path] = ()
) -> dict[str, Any]:
    """A roll: its rows, the summary, the files."""
    return {
        "format": "coincide-roll-result",
        "version": 1,
        "pairs": rows,
        "summary": summary,
        "written": [str(path) for path in written],
    }


def ghost_json(found: Explanation, lines: list[str]) -> dict[str, Any]:
    """An explanation, with the sentences it was told in."""
    return {
        "format": "coincide-ghost-result",
        "version": 1,
        "verdict": found.judged.verdict,
        "judged": found.judged,
        "still_m": found.still_m,
        "skew_s": found.skew_s,
        "u_s": found.u_s,
        "signed": found.signed,
        "misfit": found.misfit,
        "freedom": found.freedom,
        "known": found.known,
        "things": found.implied,
        "say": lines,
    }
