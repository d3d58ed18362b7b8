"""What is allowed in a rig file and yet doubtful, each with key, value and what would do; and what is good to know."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain

from coincide.rig.calibration import BODY_LETTERS
from coincide.rig.model import Body, Rig
from coincide.rig.optics.geometry import along_sweep_m, view_of
from coincide.rig.optics.sweep import sweep_spread
from coincide.rig.optics.thin_lens import circle_of_confusion_m
from coincide.rig.optics.tolerance import tolerance
from coincide.rig.optics.turning import advice
from coincide.rig.parts import FocalPlane, Leaf
from coincide.rig.plan import LONGEST_WINDOW_S, shutter_running_s

SHORTEST_CLOSURE_S = 0.15  # slow plungers and bodies that poll want as much; common practice, no source
HOT_CLOSURE_S = 0.5
FULL_STOP = 2.0


def doubts(rig: Rig) -> tuple[str, ...]:
    """Every doubt, a sentence each; empty for a rig that raises none."""
    each = chain.from_iterable(
        chain(
            _shutter(f"bodies.{letter}", body), _sensors(f"bodies.{letter}", body), _edges(rig, index, letter)
        )
        for index, (letter, body) in enumerate(zip(BODY_LETTERS, rig.both, strict=True))
    )
    return tuple(
        chain(each, _release(rig), _pair(rig), _frames(rig), _splitter(rig), _sweeps(rig), _tolerance(rig))
    )


def notes(rig: Rig) -> tuple[str, ...]:
    """What is not doubtful and yet good to know; a sentence each."""
    return tuple(_scanned(rig))


def _shutter(key: str, body: Body) -> Iterator[str]:
    shutter, exposure = body.shutter, body.shutter.exposure
    if shutter.marked and exposure.nominal_s not in [mark.nominal_s for mark in shutter.marked]:
        marks = ", ".join(mark.text for mark in shutter.marked)
        yield f"{key}.shutter.exposure is {exposure}, which is not among the marked times ({marks})."
    if isinstance(shutter, FocalPlane) and shutter.sync_speed is not None:
        sync = shutter.sync_speed
        if shutter.travel_s > sync.nominal_s:
            yield (
                f"{key}.shutter.travel is {_ms(shutter.travel_s)}, longer than the exposure at sync_speed {sync} "
                f"({_ms(sync.nominal_s)}): the frame would never be open as a whole; measure the travel or "
                "correct the sync speed."
            )
        if body.sync != "none" and shutter.above_sync_speed(exposure):
            yield (
                f"{key}.shutter.exposure is {exposure}, shorter than sync_speed {sync}: many bodies suppress X "
                f"there; use a gate sensor, or {sync} or longer."
            )
    if isinstance(shutter, Leaf):
        blades_s = (shutter.opening_s + shutter.closing_s) / 2
        if exposure.nominal_s < blades_s:
            yield (
                f"{key}.shutter.exposure is {exposure}, but blades that take {_ms(shutter.opening_s)} to open and "
                f"{_ms(shutter.closing_s)} to close cannot expose for less than {_ms(blades_s)} at full aperture: "
                "they never open fully, and sync alone tells nothing."
            )
    lens, diagonal_m = body.lens, body.frame.diagonal_m
    if not 0.2 <= lens.focal_length_m / diagonal_m <= 20:
        yield (
            f"{key}.lens.focal_length is {lens.focal_length_m * 1e3:g} mm for a frame of "
            f"{diagonal_m * 1e3:.3g} mm from corner to corner: check both."
        )


def _sensors(key: str, body: Body) -> Iterator[str]:
    gates = [(f"gate_{at}", gate) for at, gate in enumerate(body.sensors.gates, 1) if gate is not None]
    if body.sync not in ("X", "none"):
        yield (
            f"{key}.sync is '{body.sync}': such contacts close some 10 to 20 ms early and look like a lag; wire the "
            "X contact, or let one series agree with a gate sensor first."
        )
    if body.sync == "none" and not gates:
        yield (
            f"{key}.sync is 'none' and there is no gate sensor: the box cannot see this body; use the row of lamps, "
            "or give it a sensor."
        )
    shutter = body.shutter
    if isinstance(shutter, FocalPlane):
        slit_m = shutter.exposure.nominal_s * along_sweep_m(body.frame, shutter.sweep) / shutter.travel_s
        for name, gate in gates:
            if slit_m < gate.width_m:
                yield (
                    f"{key}.sensors.{name}.width is {gate.width_m * 1e3:g} mm, wider than the slit of "
                    f"{slit_m * 1e3:.2g} mm at {shutter.exposure}: it never sees full light; use a narrower sensor "
                    "or a longer time."
                )
    if len(gates) == 2 and abs(gates[0][1].position - gates[1][1].position) < 0.2:
        yield (
            f"{key}.sensors: both gate sensors sit within 0.2 of each other along the sweep: set them farther "
            "apart to learn the travel time."
        )


def _edges(rig: Rig, index: int, letter: str) -> Iterator[str]:
    body, rules = rig.both[index], rig.edge_rules[index]
    key = f"bodies.{letter}.edges" if body.edges is not None else "edges"
    if rules.shortest_closed_s >= body.shutter.exposure.nominal_s:
        yield (
            f"{key}.shortest is {_ms(rules.shortest_closed_s)}, no shorter than body {letter.upper()}'s exposure of "
            f"{body.shutter.exposure}: its sync contact would be taken for a flick."
        )
    if rules.latest_s + shutter_running_s(body.shutter) > LONGEST_WINDOW_S:
        yield (
            f"{key}.latest is {rules.latest_s:g} s: the box listens for {LONGEST_WINDOW_S:g} s at most, and the "
            "exposure would run over its end."
        )


def _release(rig: Rig) -> Iterator[str]:
    release = rig.release
    for letter, body in zip(BODY_LETTERS, rig.both, strict=True):
        if body.release == "half+full" and release.lead_s < 0.05:
            yield (
                f"release.lead is {_ms(release.lead_s)} and bodies.{letter}.release is 'half+full': a body that must "
                "wake up first answers late and unsteadily; 300 ms is usual."
            )
        if body.release == "solenoid" and release.closure_s > HOT_CLOSURE_S:
            yield (
                f"release.closure is {_ms(release.closure_s)} and bodies.{letter}.release is 'solenoid': it heats, "
                f"and its lag drifts; {_ms(SHORTEST_CLOSURE_S)} is usually enough."
            )
    if release.closure_s < SHORTEST_CLOSURE_S * 0.99:
        yield (
            f"release.closure is {_ms(release.closure_s)}: bodies that poll and slow plungers may miss it; "
            f"{_ms(SHORTEST_CLOSURE_S)} is safe."
        )
    if release.interval_s < release.lead_s + release.closure_s + release.window_s:
        yield (
            f"release.interval is {release.interval_s:g} s, shorter than lead, closure and window together: pairs "
            "will come more slowly than that."
        )


def _pair(rig: Rig) -> Iterator[str]:
    first, second = rig.both
    if first.name == second.name:
        yield f"bodies.a.name and bodies.b.name are both '{first.name}': give them different names."
    times_s = [body.shutter.exposure.nominal_s for body in rig.both]
    if max(times_s) >= 2 * FULL_STOP * min(times_s) * 0.99:
        yield (
            f"bodies.a.shutter.exposure is {first.shutter.exposure} and bodies.b.shutter.exposure is "
            f"{second.shutter.exposure}: with the middles together, what moves is blurred by "
            f"{_ms(abs(times_s[0] - times_s[1]) / 2)} more at each end in one of them; open the aperture of the "
            "slower body."
        )
    views = [body.lens.focal_length_m / body.frame.diagonal_m for body in rig.both]
    if max(views) > 1.1 * min(views):
        yield (
            "bodies.a.lens.focal_length and bodies.b.lens.focal_length give different views of the scene "
            f"({first.lens.focal_length_m * 1e3:g} and {second.lens.focal_length_m * 1e3:g} mm): only the narrower "
            "one is covered by both."
        )


def _splitter(rig: Rig) -> Iterator[str]:
    if rig.splitter is None:
        return
    for name, band in rig.splitter.bands.items():
        total = band.transmission + band.reflection
        if total < 0.5:
            yield (
                f"splitter.bands.{name}: transmission and reflection add up to {total:.2f}; more than half the light "
                "is lost, check both figures."
            )
        if min(band.transmission, band.reflection) == 0:
            yield f"splitter.bands.{name}: one body gets no light at all in this band."
    for letter, body in zip(BODY_LETTERS, rig.both, strict=True):
        film = body.film
        if film is None or film.effective_index is None or "index_includes_glass" in film.model_fields_set:
            continue
        yield (
            f"bodies.{letter}.film.effective_index is {film.effective_index:g}: whether the glass was in the light "
            "when it was found is not said, and it is counted once more; set index_includes_glass to true or false."
        )


def _frames(rig: Rig) -> Iterator[str]:
    """One picture upright, the other lying: only their common part is a pair."""
    first, second = (view_of(body) for body in rig.both)
    if (first.half_x - first.half_z) * (second.half_x - second.half_z) >= 0:
        return
    common = min(first.half_x, second.half_x) * min(first.half_z, second.half_z)
    shares = [common / (view.half_x * view.half_z) for view in (first, second)]
    lies = ["lying" if view.half_x > view.half_z else "upright" for view in (first, second)]
    yield (
        f"bodies.a.mount and bodies.b.mount: A's picture is {lies[0]} in the scene and B's {lies[1]}; {shares[0]:.0%} "
        f"of A's and {shares[1]:.0%} of B's are in both. Turn one body by a quarter about its lens, or crop to that."
    )


def _sweeps(rig: Rig) -> Iterator[str]:
    spread, allowed_s = sweep_spread(rig), tolerance(rig).tolerance_s
    if spread.after_offset_s <= allowed_s:
        return
    better = advice(rig)
    what = (
        "No other way of mounting leaves less: what is slower or farther away stands it, or bodies whose curtains take "
        "the same time."
        if better is None
        else better.say
    )
    yield (
        f"The curtains' sweeps leave up to {_ms(spread.after_offset_s)} of skew at the edge of the frame, more "
        f"than the tolerance of {_ms(allowed_s)}, and no offset removes it. {what}"
    )


def _tolerance(rig: Rig) -> Iterator[str]:
    figures = tolerance(rig)
    if figures.tolerance_s < 0.0002:
        yield (
            f"[tolerance] allows {figures.tolerance_s * 1e6:.3g} us of skew: few bodies repeat so well; a slower or "
            "more distant subject, or a larger measure on film, would allow more."
        )
    if figures.tolerance_s > 0.1:
        yield f"[tolerance] allows {_ms(figures.tolerance_s)} of skew: hardly any pair would ever fail it."


def _scanned(rig: Rig) -> Iterator[str]:
    asked = rig.tolerance
    if asked.on_film_m is None and asked.scan_pixels is None and asked.print is None and asked.time_s is None:
        for letter, body in zip(BODY_LETTERS, rig.both, strict=True):
            if body.scan_pitch_m is not None:
                pixels = circle_of_confusion_m(body.frame.diagonal_m) / body.scan_pitch_m
                if pixels > 3:
                    yield (
                        "[tolerance] is the format's circle of confusion, a figure for depth of field: at "
                        f"bodies.{letter}.scan it is {pixels:.2g} pixels of coloured fringe; set "
                        "tolerance.scan_pixels to be stricter."
                    )
                    return


def _ms(seconds: float) -> str:
    return f"{seconds * 1e3:.3g} ms"
