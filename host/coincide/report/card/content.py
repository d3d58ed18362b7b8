"""What the pocket card says: settings, limits, lights, cautions, and what they rest on."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from coincide.errors import BadInput
from coincide.planning.basis import Basis
from coincide.planning.exposure.light import PairLight, calibrated_pairs
from coincide.planning.nearest import Nearest, crossing, nearest
from coincide.planning.subjects import EVERYDAY
from coincide.planning.verdict import Use, verdict
from coincide.report.words.exposure import ev_range
from coincide.report.words.figures import KMH, figure, length, plain
from coincide.report.words.numbers import count, ms, percent
from coincide.report.words.series import who
from coincide.report.words.verdict import card_verdict
from coincide.rig.calibration import Calibration, Found, stale_reasons
from coincide.rig.model import Body, Rig
from coincide.rig.optics.geometry import scan_words, view_of
from coincide_firmware.app.light_words import PATTERNS
from coincide_firmware.app.lights import BLACK_A, NO_ANSWER_A, NOT_MEASURED, NOT_WOUND, OUT, WITHIN
from coincide_wiring.cautions import cautions_for

ON_THE_CARD = (
    "walker",
    "leaves in wind",
    "runner",
    "cyclist",
    "street traffic",
    "small waves",
    "birds in flight",
)
OTHER_PRESETS = 2


@dataclass(frozen=True, slots=True)
class CardBody:
    """One body's box: its name, what to set, and a few lines."""

    name: str
    setting: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CardContent:
    """All text of the card. `pairs`: calibrated pair, what to delay, EV it is right for. `rows`: subject, km/h, kept
    from, sharp, no fringe; `warning`: red, empty when all is well."""

    kicker: str
    invented: bool
    delay_label: str
    delay: str
    delay_note: str
    warning: str
    bodies: tuple[CardBody, CardBody]
    pairs: tuple[tuple[str, str, str], ...]
    limits_note: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    lights: tuple[str, ...]
    cautions: tuple[str, ...]
    foot: tuple[str, ...]


def card_content(basis: Basis, found: Iterable[Found], version: str, keeper_rate: float = 0.9) -> CardContent:
    """The card of the rig as it is set. Raises BadInput where no calibration says what to set."""
    if basis.found is None:
        raise BadInput(
            "A pocket card needs a calibration to say what to set: run 'coincide calibrate' first."
        )
    rig, calibration = basis.rig, basis.found.calibration
    half_s = (calibration.interval_s[1] - calibration.interval_s[0]) / 2
    late = who(rig)[0 if calibration.offset_s > 0 else 1]
    return CardContent(
        kicker=rig.name,
        invented=calibration.box.startswith("sim-"),
        delay_label=f"Delay {late} by" if calibration.offset_s else "Set no offset",
        delay=ms(abs(calibration.offset_s), half_s),
        delay_note=f"give or take {ms(half_s, half_s)} (95 %)  ·  preset {calibration.preset}",
        warning="The rig was changed since: calibrate again." if basis.doubts else "",
        bodies=(_body(rig.bodies.a), _body(rig.bodies.b)),
        pairs=_pairs(rig, found, basis.found),
        limits_note=_limits_note(basis, keeper_rate),
        columns=("moving across", "km/h", "kept from", "sharp", "no fringe"),
        rows=_rows(basis, keeper_rate),
        lights=_lights(calibration),
        cautions=tuple(caution.say for caution in cautions_for("arm")),
        foot=_foot(basis, calibration, version),
    )


def _body(body: Body) -> CardBody:
    lens = body.lens
    focus = ""
    if lens.focused_m is not None:
        focus = f", focused {'infinity' if math.isinf(lens.focused_m) else length(lens.focused_m)}"
    film = "" if body.film is None else f"ISO {body.film.iso:g}"
    if body.film is not None and body.film.filter_stops:
        film += f", filter {body.film.filter_stops:g} stops"
    if body.film is not None and body.film.name:
        film += f", {body.film.name}"
    lines = (f"{plain(lens.focal_length_m * 1e3)} mm{focus}", film, f"scan: {_scan(body)}")
    return CardBody(body.name, f"{body.shutter.exposure} at f/{lens.aperture:g}", tuple(filter(None, lines)))


def _scan(body: Body) -> str:
    wants = scan_words(view_of(body))
    return "as it is" if wants == "nothing" else wants


def _pairs(rig: Rig, found: Iterable[Found], own: Found) -> tuple[tuple[str, str, str], ...]:
    """The pair that is set, then the newest calibration of each other pair that still holds: what to delay, and for
    which light it is right."""
    everything = [own, *found]
    lights = {one.found.path: one for one in calibrated_pairs(rig, everything)}
    newest: dict[str, Found] = {}
    for one in everything:
        newest.setdefault(one.calibration.preset, one)
    others = [one for one in newest.values() if one is not own and not stale_reasons(one.calibration, rig)]
    return tuple(
        (one.calibration.preset, _short(one.calibration), _light(lights.get(one.path)))
        for one in (own, *others[:OTHER_PRESETS])
    )


def _short(calibration: Calibration) -> str:
    if calibration.offset_s == 0:
        return "none"
    half_s = (calibration.interval_s[1] - calibration.interval_s[0]) / 2
    return f"{'A' if calibration.offset_s > 0 else 'B'} by {ms(abs(calibration.offset_s), half_s)}"


def _light(pair: PairLight | None) -> str:
    if pair is None:
        return "-"
    return "at no light both" if pair.both_ev100 is None else ev_range(pair.both_ev100)


def _limits_note(basis: Basis, keeper_rate: float) -> str:
    own = basis.rig.tolerance.subject
    say = f"For {percent(keeper_rate)} of pairs, on a tripod; everyday speeds are rough."
    if own is None:
        return say
    return f"{card_verdict(verdict(Use(basis.rig, basis.model, own, keeper_rate=keeper_rate)))} {say}"


def _rows(basis: Basis, keeper_rate: float) -> tuple[tuple[str, ...], ...]:
    """The rig's own subject, then everyday ones at the fast end of their range."""
    own = basis.rig.tolerance.subject
    fast = {one.name: one.fast_m_s for one in EVERYDAY}
    chosen = [*([own] if own is not None else []), *(crossing(name, fast[name]) for name in ON_THE_CARD)]
    rows = []
    for subject in chosen:
        near: Nearest = nearest(Use(basis.rig, basis.model, subject, keeper_rate=keeper_rate))
        away = (length(distance_m) for distance_m in (near.kept_m, near.sharp_m, near.with_blur_m))
        rows.append((subject.name, figure(subject.speed_m_s * KMH), *away))
    return tuple(rows)


def _lights(calibration: Calibration) -> tuple[str, ...]:
    seen = {name: what for name, _, what, _, _ in PATTERNS}
    tolerance = ms(calibration.tolerance_s, calibration.tolerance_s / 20)
    return (
        f"{seen[WITHIN]}: within ±{tolerance}",
        f"{seen[OUT]}: out of tolerance",
        f"{seen[NO_ANSWER_A]}: A did not answer; two short for B, three for both",
        f"{seen[BLACK_A]}: A fired and no light was seen; two short for B, three for both",
        f"{seen[NOT_MEASURED]}: not measured",
        f"{seen[NOT_WOUND]}: not fired, wind both and press 'wound'",
    )


def _foot(basis: Basis, calibration: Calibration, version: str) -> tuple[str, ...]:
    assert basis.found is not None
    checked = calibration.verification
    verified = "not verified" if checked is None else f"verified: {checked.keepers} of {checked.shots} kept"
    return (
        f"Calibrated {calibration.created[:10]}, {count(calibration.shots, 'pair')}, jitter "
        f"{ms(calibration.jitter_s, calibration.jitter_s / 10)}, {verified}.",
        basis.found.path.name,
        f"Another pair of shutter times needs another offset.  coincide {version}",
    )
