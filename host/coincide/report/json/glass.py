"""What `coincide glass` and `coincide infrared` print with `--json` (docs/formats.md)."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from coincide.planning.glass.footprint import Need
from coincide.planning.glass.plan import GlassPlan
from coincide.planning.infrared.bracket import Bracket
from coincide.planning.infrared.focus import InfraredFocus
from coincide.planning.trace import Link
from coincide.rig.model import Rig

VERSION = 1


def glass_json(plan: GlassPlan, pictures: Iterable[Path]) -> dict[str, Any]:
    """Size, place of the pupils, plate, ghosts, wedge, polarisation."""
    where, coating = plan.place, plan.coating
    return {
        "format": "coincide-glass-result",
        "version": VERSION,
        "rig": plan.rig.name,
        "near_m": plan.distances_m[0],
        "far_m": plan.distances_m[1],
        "large_enough": None if plan.size is None else plan.large_enough,
        "in_place": None if plan.off_m is None else plan.in_place,
        "need": _need(plan.need),
        "needs": [_need(one) for one in plan.needs],
        "size": None if plan.size is None else _need(plan.size),
        "past": [
            [
                {"side": past.side, "over_m": past.over_m, "dim_m": past.dim_m, "lost_m": past.lost_m}
                for past in edges
            ]
            for edges in plan.past
        ],
        "room_m": plan.room_m,
        "through": "AB"[plan.through],
        "place": {
            "reflected_to_glass_m": plan.pupil_m,
            "through_to_glass_m": where.to_glass_m,
            "side_m": where.side_m,
            "up_m": where.up_m,
            "off_m": plan.off_m,
            "off_film_m": plan.off_film_m,
            "left_film_m": plan.left_film_m,
        },
        "millimetre": [
            {"distance_m": one.distance_m, "sideways_m": one.sideways_m, "forward_m": one.forward_m}
            for one in plan.millimetres
        ],
        "plate": {"sideways_m": plan.sideways_m, "on_film_m": plan.plate_film_m},
        "ghosts": [
            {
                "apart_m": one.apart_m,
                "bare_stops": one.bare_stops,
                "coated_stops": one.coated_stops,
                "own_stops": one.own_stops,
            }
            for one in plan.ghosts
        ],
        "wedge": {
            "wedge_rad": plan.wedge.wedge_rad,
            "given": plan.wedge_given,
            "through_rad": plan.wedge.through_rad,
            "ghost_rad": plan.wedge.ghost_rad,
        },
        "polarisation": None
        if coating is None
        else {
            "band": coating.band,
            "film_index": coating.film_index,
            "sky_stops": [coating.sky.along_stops, coating.sky.across_stops],
            "water_stops": [coating.water.along_stops, coating.water.across_stops],
        },
        "allowed_m": plan.allowed_m,
        "chain": _chain(plan.chain),
        "pictures": list(pictures),
    }


def infrared_json(rig: Rig, found: Iterable[tuple[InfraredFocus, Bracket]]) -> dict[str, Any]:
    """Focus and bracket of each body whose film sees infrared."""
    return {
        "format": "coincide-infrared-result",
        "version": VERSION,
        "rig": rig.name,
        "bodies": [_infrared(focus, plan) for focus, plan in found],
    }


def _infrared(focus: InfraredFocus, plan: Bracket) -> dict[str, Any]:
    return {
        "body": "AB"[focus.body],
        "aperture": focus.aperture,
        "allowed_m": focus.allowed_m,
        "shift_m": focus.shift_m,
        "shift_rough": not focus.shift_known,
        "blur_m": focus.blur_m,
        "hidden": focus.hidden,
        "hides_f": focus.hides_f,
        "hides_mark": focus.hides_mark,
        "scale_m": focus.instead_m,
        "grows": focus.grows,
        "grows_m": focus.grows_m,
        "airy_m": focus.airy_m,
        "diffraction_mark": focus.diffraction_mark,
        "bracket": [
            {
                "stops": pair.stops,
                "how": pair.how,
                "settings": None
                if pair.settings is None
                else [
                    {"exposure": one.exposure, "aperture": one.aperture, "filter_stops": one.filter_stops}
                    for one in pair.settings
                ],
                "preset": pair.preset,
                "calibration": pair.calibration,
                "note": pair.note,
                "stale": pair.stale,
            }
            for pair in plan.pairs
        ],
        "chain": _chain(focus.chain),
    }


def _need(one: Need) -> dict[str, float]:
    return {
        "width_m": one.width_m,
        "length_m": one.length_m,
        "near_m": one.near_m,
        "far_m": one.far_m,
    }


def _chain(links: Iterable[Link]) -> list[dict[str, Any]]:
    return [
        {"name": link.name, "value": link.value, "unit": link.unit, "source": link.source} for link in links
    ]
