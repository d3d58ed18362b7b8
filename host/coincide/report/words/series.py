"""The sentences and rows that say what a series found: for the terminal, the page and the card alike."""

from __future__ import annotations

import math

import numpy as np

from coincide.report.words.numbers import count, ms, ms_with_interval, percent
from coincide.rig.model import Rig
from coincide.session.lamps import FRAME, ROW
from coincide.session.model import BODIES
from coincide.timing.analysis import Analysis, Measured
from coincide.timing.budget.uncertainty import Budget
from coincide.timing.offset.frames import takes_far_ones
from coincide.timing.offset.level import MOST_SHOTS
from coincide.timing.offset.suggest import OffsetSuggestion
from coincide.timing.offset.verify import Verification

WIDE_RANGE = 0.02  # of the pairs, before a range is worth saying
SHARED_ERROR = (
    0.1  # of the tolerance: below, what all pairs share costs fewer keepers than a percentage shows
)
UNNAMED = ("the left channel", "the right channel")


def who(rig: Rig) -> tuple[str, str]:
    """'Lapwing (A)' and 'Bittern (B)'; the channels of a recording where nobody knows which body was on which."""
    if (rig.bodies.a.name, rig.bodies.b.name) == UNNAMED:
        return UNNAMED
    return (f"{rig.bodies.a.name} (A)", f"{rig.bodies.b.name} (B)")


def was_recorded(measured: Measured) -> bool:
    """Whether the edges were read from a recording."""
    return measured.known.recording is not None


RECORDED = {
    "light": "a recording of light",
    "sound": "a recording of sound",
    "instrument": "an instrument's capture",
}


def source_sentence(measured: Measured) -> str | None:
    """Where the edges came from when no box timed them, and what is therefore not known; None where a box did."""
    recording = measured.known.recording
    if recording is None:
        return None
    lacking = "lag, exposure and travel" if recording.source == "sound" else "lag"
    kind = RECORDED.get(recording.source, recording.source)
    said = f"The edges were read from {kind} ({recording.file}), not timed by a box"
    return f"{said}." if has_lag(measured) else f"{said}: no {lacking} is known."


def has_lag(measured: Measured) -> bool:
    """Whether anything tells when the releases were pressed; a twin cable and a recording do not."""
    return not was_watched(measured) or bool(np.isfinite(measured.lag_s).any())


def was_watched(measured: Measured) -> bool:
    """Whether the box only listened."""
    return measured.session.header.purpose == "watch"


def lateness(analysis: Analysis) -> str:
    """Who is late and by how much, in one sentence."""
    measured, suggestion = analysis.measured, analysis.suggestion
    if suggestion is None:
        return f"The skew could not be settled: {analysis.why_none}"
    names = who(measured.rig)
    centre, interval = suggestion.best_s, suggestion.interval_s
    if interval[0] <= 0.0 <= interval[1] and abs(centre) < measured.tolerance_s / 4:
        return f"{names[0]} and {names[1]} expose together, within {ms(max(map(abs, interval)))}."
    late, early = (names[1], names[0]) if centre > 0 else (names[0], names[1])
    if centre < 0:
        centre, interval = -centre, (-interval[1], -interval[0])
    return f"{late} exposes {ms_with_interval(centre, interval)} after {early}."


def steady_offset_on_s(measured: Measured) -> float:
    """The offset that was on in every pair; 0 where it changed."""
    on_s = measured.offset_on_s
    return float(on_s[0]) if on_s.size and np.ptp(on_s) == 0.0 else 0.0


def what_to_set(
    rig: Rig,
    suggestion: OffsetSuggestion,
    *,
    watched: bool = False,
    again: str = "coincide watch",
    on_s: float = 0.0,
) -> str:
    """The setting, in one sentence. A rig that was only watched has a screw to turn, and no box that waits; then
    `again` is what measures it anew. on_s: the offset that was on all the while, which may only want a touch."""
    if suggestion.body_to_delay is None:
        return "Turn nothing." if watched else "Set no offset."
    name = who(rig)[BODIES.index(suggestion.body_to_delay)]
    if watched and name in UNNAMED:
        return (
            "Which body is on which channel is not known: begin the recording with three bangs of A alone, then "
            "three of B, "
            "or say --channels, before you turn anything."
        )
    half_s = (suggestion.interval_s[1] - suggestion.interval_s[0]) / 2
    if watched:
        return (
            f"Make {name} later by {ms(suggestion.delay_s, half_s)}: turn the screw of its plunger, then "
            f"'{again}' again with --compare and --turned."
        )
    setting = f"Delay {name} by {ms(suggestion.delay_s, half_s)}"
    # A setting that only moves a little is told by how much: the box has the rest on already.
    if on_s == 0.0 or on_s * suggestion.offset_s <= 0.0:
        return f"{setting}."
    more_s = suggestion.delay_s - abs(on_s)
    way = "more" if more_s >= 0 else "less"
    return f"{setting}, {ms(abs(more_s), half_s)} {way} than was on."


def what_to_expect(suggestion: OffsetSuggestion) -> tuple[str, ...]:
    """Keepers, jitter, the next frame, and what more shots would bring; a sentence each."""
    low, high = suggestion.next_frame_s
    said = [
        f"With it, {keepers(suggestion)} of pairs should be within the tolerance of "
        f"±{ms(suggestion.tolerance_s, suggestion.tolerance_s / 20)}; the jitter that no offset removes is "
        f"{ms(suggestion.jitter_s, suggestion.jitter_s / 10)} (standard deviation).",
        f"The next frame's skew should lie between {ms(low, (high - low) / 20)} and {ms(high, (high - low) / 20)} "
        f"(95 %{_far_ones(suggestion)}).",
    ]
    if suggestion.shots_to_halve is not None:
        said.append(f"{count(suggestion.shots_to_halve, 'more pair')} would halve the interval.")
    elif suggestion.type_b_s > suggestion.type_a_s:
        said.append(
            "More pairs would hardly narrow the interval: it is ruled by what is uncertain in every pair alike."
        )
    elif suggestion.structure is not None:
        said.append("More pairs would hardly narrow the interval: the centre does not stand still.")
    else:
        said.append(
            f"More pairs would not halve the interval: only the last {MOST_SHOTS} tell where the bodies are now."
        )
    return tuple(said)


def _far_ones(suggestion: OffsetSuggestion) -> str:
    """That frames as far off as some were are among the next frames foretold."""
    far = len(suggestion.outliers)
    if not far or not takes_far_ones(suggestion.shots_used / (suggestion.shots_used + far)):
        return ""
    return ", such as were far from all others counted in"


def keepers(suggestion: OffsetSuggestion) -> str:
    """The share expected, with its range where the shots and what they share leave it wide."""
    low, high = suggestion.keepers_range
    mean = percent(suggestion.expected_keepers)
    if high - low < WIDE_RANGE or not shares_an_error(suggestion):
        return mean
    return f"{mean} ({percent(low)} to {percent(high)}, by what is uncertain in every pair alike)"


def shares_an_error(suggestion: OffsetSuggestion) -> bool:
    """Whether what all pairs have in common matters beside the tolerance."""
    return suggestion.type_b_s > SHARED_ERROR * suggestion.tolerance_s


def unseen(suggestion: OffsetSuggestion) -> str:
    """What a fresh series cannot show, and what would."""
    b_s = 2.0 * suggestion.type_b_s
    return (
        f"What is uncertain in every pair alike, ±{ms(b_s, b_s)} (95 %), a fresh series shares and cannot show. One "
        "series with a gate sensor in each body would, or the row of lamps ('coincide lamps'); until then count on "
        f"{keepers(suggestion)} within tolerance."
    )


def verified(rig: Rig, suggestion: OffsetSuggestion, verification: Verification) -> tuple[str, ...]:
    """What was predicted beside what came; a sentence each."""
    tolerance_s = suggestion.tolerance_s
    low, high = verification.share_interval
    centre_half_s = (verification.centre_interval_s[1] - verification.centre_interval_s[0]) / 2
    first = ", the first after a rest left out" if verification.first else ""
    said = [
        f"Predicted: {percent(verification.predicted_share)} kept; obtained: {verification.keepers} of "
        f"{verification.pairs} ({percent(verification.share)}) within ±{ms(tolerance_s, tolerance_s / 20)}{first}. "
        f"Counting alone proves {100 * low:.1f} % to {100 * high:.1f} % (95 %).",
        f"Skew left over: {ms(verification.centre_s, centre_half_s)}; it may be as far as "
        f"{ms(verification.centre_allowed_s, centre_half_s)} from zero when the offset is right.",
    ]
    if verification.agrees:
        said.append("The fresh series agrees with what was predicted.")
        if shares_an_error(suggestion):
            said.append(unseen(suggestion))
    elif _moved_the_wrong_way(suggestion, verification):
        said.append(
            f"The offset moved the skew the wrong way: the release leads of {rig.bodies.a.name} and "
            f"{rig.bodies.b.name} are swapped, or their sensors are. Put each plug in its own body and calibrate again."
        )
    elif _moved_nothing(suggestion, verification):
        held = rig.both[0 if suggestion.offset_s > 0 else 1]
        said.append(
            f"The offset changed nothing: {held.name} fires when it is awake, whatever full-press does. Lengthen the "
            f"half-press lead ('lead' under [release], now {1e3 * rig.release.lead_s:g} ms) and calibrate again."
        )
    elif not verification.centre_agrees and suggestion.drift_chance > 0.5:
        said.append(
            "The fresh series does not agree: the drift that the first one showed did not go on as foretold. Let both "
            "bodies come to rest, fire until it is over, and calibrate again."
        )
    elif not verification.centre_agrees and suggestion.structure is not None:
        said.append(
            "The fresh series does not agree: the centre went on moving, as it did in the first. Calibrate again when "
            "it stands still, and just before the picture."
        )
    elif not verification.centre_agrees:
        said.append(
            f"The fresh series does not agree: something changed between the two, or it is the one good calibration in "
            f"twenty that fails by chance. Check that {rig.bodies.a.name} and {rig.bodies.b.name} kept their settings, "
            "let them rest as long as in the field, and calibrate again."
        )
    else:
        said.append(
            "The centre agrees but more or fewer pairs were kept than predicted: the jitter changed. Look at the "
            "plots, change batteries or wind more evenly, and calibrate again."
        )
    return tuple(said)


def _moved_nothing(suggestion: OffsetSuggestion, verification: Verification) -> bool:
    """The skew with the offset on is what it was without, within what both series leave open."""
    apart_s = abs(verification.centre_s - suggestion.offset_s)
    return apart_s <= verification.centre_allowed_s < abs(suggestion.offset_s) / 2


def _moved_the_wrong_way(suggestion: OffsetSuggestion, verification: Verification) -> bool:
    """The delay reached the other body: twice the skew is left instead of none."""
    left_s, twice_s = verification.centre_s, 2 * suggestion.offset_s
    return abs(left_s - twice_s) < 0.25 * abs(twice_s) and abs(left_s) > verification.centre_allowed_s


def body_rows(measured: Measured) -> list[tuple[str, ...]]:
    """One row a body, as `body_columns` names them."""
    rows: list[tuple[str, ...]] = []
    for index, body in enumerate(measured.rig.both):
        lag_s = measured.lag_s[:, index]
        seen = lag_s[np.isfinite(lag_s)]
        exposure_s = measured.mids.exposure_s[:, index]
        known = exposure_s[np.isfinite(exposure_s)]
        spread_s = float(np.std(seen, ddof=1)) if seen.size > 1 else math.nan
        rows.append(
            (
                f"{BODIES[index]} {body.name}",
                seen_by(measured, index),
                *(
                    (
                        _number(
                            float(np.median(seen)) if seen.size else math.nan,
                            max(spread_s / 10, 2.0 * measured.mids.bodies[index].type_b_s),
                        ),
                        _number(spread_s, spread_s / 10),
                    )
                    if has_lag(measured)
                    else ()
                ),
                _exposure(
                    float(np.median(known)) if known.size else math.nan, body.shutter.exposure.nominal_s
                ),
                str(
                    int(np.sum(~np.isfinite(measured.mids.mid_s[:, index]) & ~measured.mids.black[:, index]))
                ),
                *((str(int(measured.mids.black[:, index].sum())),) if measured.black else ()),
            )
        )
    return rows


def seen_by(measured: Measured, index: int) -> str:
    """What saw a body."""
    how = measured.mids.bodies[index].how
    if how == "gate" and was_recorded(measured):
        return "gate, recorded"
    return {"gate": "gate sensor", "sync": "sync contact", "sound": "its sound", "none": "not seen"}[how]


def body_columns(measured: Measured) -> tuple[str, ...]:
    """Above `body_rows`; frames without light have a column where there are any, lag only where it is known."""
    lag = ("lag, ms", "its spread, ms") if has_lag(measured) else ()
    columns = ("body", "seen by", *lag, "exposure", "no answer, pairs")
    return (*columns, "no light, pairs") if measured.black else columns


def _number(value_s: float, uncertainty_s: float) -> str:
    return ms(value_s, uncertainty_s).removesuffix(" ms")


def _exposure(measured_s: float, marked_s: float) -> str:
    if not math.isfinite(measured_s):
        return "not measured"
    stops = math.log2(measured_s / marked_s)
    return f"{measured_s * 1e3:.2f} ms ({round(stops, 2) + 0.0:+.2f} stop)"


def noticed(analysis: Analysis) -> tuple[str, ...]:
    """What else the series showed, a sentence each with its advice, and what the session file remarked."""
    session = analysis.measured.session
    said = [f"{finding.say} {finding.advice}".strip() for finding in analysis.findings]
    said += remarks(analysis)
    if session.torn is not None:
        said.append(f"Line {session.torn} of the session file was cut short and is not counted.")
    return tuple(dict.fromkeys(said))


BUDGET_COLUMNS = ("what is uncertain", "kind", "standard uncertainty, ms", "share, %", "what would help")


def budget_rows(budget: Budget) -> list[tuple[str, ...]]:
    """The budget as rows, largest share first."""
    order = sorted(range(len(budget.components)), key=lambda at: -budget.share[at])
    return [
        (
            budget.components[at].name,
            budget.components[at].kind,
            _number(budget.components[at].u_s, budget.components[at].u_s),
            f"{100 * budget.share[at]:.1f}",
            budget.components[at].remedy,
        )
        for at in order
    ]


def budget_sentence(budget: Budget) -> str:
    """What it comes to."""
    how = (
        "k = 2"
        if budget.method == "k=2"
        else f"by propagating distributions, factor {budget.coverage_factor:.2f}"
    )
    dof = "many" if budget.dof > 500 else f"{budget.dof:.0f}"
    return (
        f"Uncertainty of the centre: ±{ms(budget.expanded_s, budget.expanded_s)} (95 %, {how}; "
        f"{dof} effective degrees of freedom)."
    )


UNTOLD = ("stopped", ROW, FRAME)  # told once for all pairs together; or data, pair by pair


def remarks(analysis: Analysis) -> list[str]:
    """What the session file remarked, less what a finding says once for all pairs together."""
    told = {"missed", "stopped answering", "never answered"} & {finding.code for finding in analysis.findings}
    # That it was stopped once and gone on with is nothing to do about.
    said = [remark.say for remark in analysis.measured.session.remarks if remark.kind not in UNTOLD]
    return [one for one in said if not (told and "did not answer at pair" in one)]
