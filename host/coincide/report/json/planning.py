"""What `--json` prints for the planning commands. Stable: keys are added, never renamed (docs/formats.md)."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from coincide.planning.basis import Basis, PairsMeasured
from coincide.planning.budget import Budget
from coincide.planning.changes import Change
from coincide.planning.exposure.body import BodyExposure
from coincide.planning.exposure.light import PairLight
from coincide.planning.exposure.mend import Mend
from coincide.planning.exposure.pairing import Pairing, pairing_chain
from coincide.planning.nearest import everyday_nearest
from coincide.planning.plan import Asked, LimitsPlan
from coincide.planning.trace import Link
from coincide.planning.verdict import Verdict
from coincide.report.card.content import CardContent
from coincide.report.words.verdict import verdict_lines
from coincide.rig.model import Rig, Subject
from coincide.rig.optics.geometry import scan_words, scene_sweep_words, view_of
from coincide.rig.optics.sweep import sweep_spread
from coincide.rig.optics.turning import advice

VERSION = 1


def limits_json(plan: LimitsPlan, pictures: Iterable[Path]) -> dict[str, Any]:
    """The fastest subjects by distance and lens, everyday subjects, one subject asked about."""
    basis, found, hand = plan.basis, plan.found, plan.hand
    everyday = everyday_nearest(
        basis.rig,
        basis.model,
        keeper_rate=found.keeper_rate,
        point=found.point,
        rate_rad_s=found.rate_rad_s,
    )
    return {
        "format": "coincide-limits-result",
        "version": VERSION,
        "simulated": basis.simulated,
        "basis": _basis(basis),
        "keeper_rate": found.keeper_rate,
        "point": found.point,
        "skew_s": found.skew_s,
        "distances_m": found.distances_m,
        "focal_lengths_m": found.focal_lengths_m,
        "kept_across_m_s": found.kept_across_m_s,
        "kept_towards_m_s": found.kept_towards_m_s,
        "across_m_s": found.across_m_s,
        "across_with_blur_m_s": found.across_blur_m_s,
        "sharp_m_s": found.sharp_m_s,
        "towards_m_s": found.towards_m_s,
        "everyday": [
            {
                "name": one.name,
                "slow_m_s": one.slow_m_s,
                "fast_m_s": one.fast_m_s,
                "rough": True,
                "kept_from_m": near.kept_m,
                "sharp_from_m": near.sharp_m,
                "nearest_m": near.alone_m,
                "nearest_with_blur_m": near.with_blur_m,
            }
            for one, near in everyday
        ],
        "subject": None if plan.asked is None else _asked(plan.asked),
        "hand": {
            "rate_rad_s": hand.rate_rad_s,
            "shift_m": hand.shift_m,
            "bend_m": hand.bend_m,
            "left_m": hand.left_m,
            "unequal_m": hand.unequal_m,
            "blur_m": hand.blur_m,
        },
        "chain": _chain(plan.chain),
        "pictures": list(pictures),
    }


def budget_json(basis: Basis, found: Budget) -> dict[str, Any]:
    """Each cause of the ghost, their sum, what is allowed, and the changes that lower it."""
    return {
        "format": "coincide-budget-result",
        "version": VERSION,
        "simulated": basis.simulated,
        "basis": _basis(basis),
        "subject": _subject(found.subject),
        "body": "AB"[found.body],
        "terms": [
            {
                "cause": term.cause,
                "time_s": term.time_s,
                "on_film_m": term.on_film_m,
                "scan_pixels": term.pixels,
                "remedy": term.remedy,
            }
            for term in found.terms
        ],
        "largest": found.largest.cause,
        "total_m": found.total_m,
        "total_scan_pixels": found.total_pixels,
        "allowed_m": found.allowed_m,
        "within": found.verdict.free,
        "kept": found.verdict.kept,
        "verdict": verdict_json(found.verdict),
        "best": None if found.best is None else _change(found.best),
        "sharpening": None if found.sharpening is None else _change(found.sharpening),
        "changes": [_change(one) for one in found.changes],
        "chain": _chain(found.chain),
    }


def verdict_json(found: Verdict) -> dict[str, Any]:
    """The one verdict: kept or not, what rules, and the parts on each film."""
    use = found.use
    return {
        "kept": found.kept,
        "sharp": found.sharp,
        "free_of_fringes": found.free,
        "ruling": found.ruling,
        "keeper_rate": use.keeper_rate,
        "rate_rad_s": use.rate_rad_s,
        "bodies": [
            {
                "name": body.name,
                "allowed_m": one.allowed_m,
                "blur_m": one.blur_m,
                "turning_blur_m": one.turning_blur_m,
                "ghost_m": one.ghost_m,
                "skew_m": one.skew_m,
                "sweep_m": one.sweep_m,
                "unequal_m": one.unequal_m,
                "turning_m": one.turning_m,
                "curtain_share": one.fast_share,
                "curtain_m": one.fast_m if found.too_fast else 0.0,
            }
            for body, one in zip(use.rig.both, found.bodies, strict=True)
        ],
        "say": list(verdict_lines(found)),
    }


def exposure_json(rig: Rig, pairing: Pairing, *, simulated: bool) -> dict[str, Any]:
    """Both bodies' settings for one meter reading."""
    opening = pairing.opening
    return {
        "format": "coincide-exposure-result",
        "version": VERSION,
        "simulated": simulated,
        "rig": rig.name,
        "reading": {"said": pairing.reading.said, "ev100": pairing.reading.ev100},
        "bodies": [
            _body(body) | {"mend": None if way is None else _mend(way)}
            for body, way in zip(pairing.bodies, pairing.mends, strict=True)
        ],
        "as_it_stands": pairing.as_it_stands,
        "standing": [
            {
                "exposure": body.mark.text,
                "aperture": body.aperture,
                "error_stops": body.error_stops,
                "within": body.within,
            }
            for body in pairing.standing
        ],
        "pairs": [_pair(pair) for pair in pairing.pairs],
        "apart_stops": pairing.apart_stops,
        "blur_each_end_s": pairing.blur_each_end_s,
        "preset": pairing.preset,
        "calibration": pairing.calibration,
        "opening": None
        if opening is None
        else {
            "body": "AB"[opening.body],
            "aperture": opening.aperture,
            "exposure": opening.mark.text,
            "blur_each_end_s": opening.blur_each_end_s,
            "say": opening.say,
        },
        "why": pairing.why,
        "warnings": pairing.warnings,
        "chain": _chain(pairing_chain(pairing)),
    }


def card_json(basis: Basis, content: CardContent, files: Iterable[Path]) -> dict[str, Any]:
    """What the card says, as text, and where it was written."""
    return {
        "format": "coincide-card-result",
        "version": VERSION,
        "simulated": basis.simulated,
        "basis": _basis(basis),
        "card": content,
        "files": list(files),
    }


def geometry_json(rig: Rig) -> dict[str, Any]:
    """What the mounts do: mirroring, sweeps in the scene, skew over the frame, and advice."""
    views = [view_of(body) for body in rig.both]
    spread, turning = sweep_spread(rig), advice(rig)
    return {
        "sweep_in_scene": [scene_sweep_words(view) for view in views],
        "mirrored": [view.mirrored for view in views],
        "turned": [view.turned for view in views],
        "scan_wants": [scan_words(view) for view in views],
        "relation": spread.relation,
        "across_s": spread.across_s,
        "after_offset_s": spread.after_offset_s,
        "rms_s": spread.rms_s,
        "centre_shift_s": spread.centre_shift_s,
        "corner_s": spread.corner_s,
        "advice": None
        if turning is None
        else {
            "body": "AB"[turning.body],
            "looks": turning.mount.looks,
            "top_plate": turning.mount.top_plate,
            "across_then_s": turning.across_then_s,
            "say": turning.say,
        },
    }


def _basis(basis: Basis) -> dict[str, Any]:
    model, found = basis.model, basis.found
    return {
        "rig": basis.rig.name,
        "exposures": basis.rig.exposures,
        "calibration": None if found is None else found.path,
        "created": _created(basis),
        "session": None if basis.pairs is None else _pairs(basis.pairs),
        "jitter_s": model.jitter_s,
        "jitter_given": basis.given,
        "offset_u_s": model.offset_u_s,
        "sweep_corner_s": model.sweep_s,
        "unequal_s": model.unequal_s,
        "doubts": basis.doubts,
    }


def _created(basis: Basis) -> str | None:
    if basis.pairs is not None:
        return basis.pairs.created
    return None if basis.found is None else basis.found.calibration.created


def _pairs(pairs: PairsMeasured) -> dict[str, Any]:
    return {
        "path": pairs.path,
        "source": pairs.source,
        "pairs": pairs.pairs,
        "late_s": pairs.late_s,
        "interval_s": pairs.interval_s,
    }


def _asked(asked: Asked) -> dict[str, Any]:
    return _subject(asked.subject) | {
        "verdict": verdict_json(asked.verdict),
        "kept_from_m": asked.nearest.kept_m,
        "sharp_from_m": asked.nearest.sharp_m,
        "skew_needed_s": asked.inverse.skew_needed_s,
        "nearest_m": asked.inverse.nearest_m,
        "nearest_with_blur_m": asked.nearest.with_blur_m,
        "longest_lens_m": asked.inverse.longest_lens_m,
        "kept": asked.kept,
    }


def _subject(subject: Subject) -> dict[str, Any]:
    return {
        "name": subject.name,
        "speed_m_s": subject.speed_m_s,
        "distance_m": subject.distance_m,
        "direction": subject.direction,
        "point": subject.point,
    }


def _body(body: BodyExposure) -> dict[str, Any]:
    return {
        "name": body.name,
        "aperture": body.aperture,
        "steps": [{"name": step.name, "stops": step.stops, "source": step.source} for step in body.steps],
        "stops": body.stops,
        "metered_s": body.metered_s,
        "needed_s": body.needed_s,
        "exposure": body.mark.text,
        "effective_s": body.effective_s,
        "error_stops": body.error_stops,
        "error_thirds": body.error_thirds,
        "latitude_stops": (body.latitude.under_stops, body.latitude.over_stops),
        "within": body.within,
        "sharp_m": body.sharp_m,
    }


def _mend(way: Mend) -> dict[str, Any]:
    then = way.then
    return {
        "aperture": way.aperture,
        "filter_stops": way.filter_stops,
        "exposure": None if then is None else then.mark.text,
        "error_stops": None if then is None else then.error_stops,
        "say": way.say,
    }


def _pair(pair: PairLight) -> dict[str, Any]:
    return {
        "preset": pair.preset,
        "calibration": pair.found.path.name,
        "apertures": pair.apertures,
        "right_ev100": pair.right_ev100,
        "both_ev100": pair.both_ev100,
        "stale": pair.stale,
    }


def _change(change: Change) -> dict[str, Any]:
    return {
        "say": change.say,
        "total_then_m": change.total_then_m,
        "saved_m": change.saved_m,
        "kept_then": change.then.kept,
    }


def _chain(links: Iterable[Link]) -> list[dict[str, Any]]:
    return [
        {"name": link.name, "value": link.value, "unit": link.unit, "source": link.source} for link in links
    ]
