"""A whole session analysed: edges -> pairs -> mid-exposures -> skews -> offset. One call for everyone."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from coincide.errors import BadInput
from coincide.rig.file import parse_rig
from coincide.rig.model import Rig
from coincide.rig.optics.tolerance import tolerance_s
from coincide.session.file import read_session
from coincide.session.model import BODIES, Floats, Session, Shots
from coincide.session.shots import shots_from_session
from coincide.timing.bodies.behaviour import notice
from coincide.timing.bodies.black import notice_black
from coincide.timing.bodies.in_time import notice_growth, notice_in_time, notice_left_out, notice_shape
from coincide.timing.budget.known import MEASURE_ZERO, Known, known_from
from coincide.timing.budget.recorded import with_recording
from coincide.timing.finding import Finding
from coincide.timing.offset.suggest import OffsetSuggestion, suggest_offset, with_lost_keepers
from coincide.timing.offset.verify import Verification, verify
from coincide.timing.shutter.circuits import as_wired, isolators_s, later_drift, with_zero
from coincide.timing.shutter.flicker import (
    Flicker,
    find_flicker,
    notice_flicker,
    notice_unsteady,
    rules_under,
    with_flicker,
)
from coincide.timing.shutter.mid_exposure import MidExposures, mid_exposures
from coincide.timing.skew import lags_s, offsets_on_s, skews_s

QUANTUM_TICKS = 2  # the grid on which the box's releases leave


@dataclass(frozen=True, slots=True)
class Measured:
    """The pairs of a session, measured; n rows.

    rig: as the session carries it. lag_s (n, 2): release lag of each body. skew_s (n,): positive when B is
    late, NaN where a body did not answer. offset_on_s (n,): what the box had added, positive to A.
    resolution_s: the step of an offset. tolerance_s: the largest |skew| of a keeper. known: what the session
    knew beforehand. flicker: of the lamp over the gates, or None.
    """

    session: Session
    rig: Rig
    shots: Shots
    mids: MidExposures
    lag_s: Floats
    skew_s: Floats
    offset_on_s: Floats
    resolution_s: float
    tolerance_s: float
    known: Known = field(default_factory=Known)
    flicker: Flicker | None = None

    @property
    def answered(self) -> int:
        """Pairs with a skew."""
        return int(np.isfinite(self.skew_s).sum())

    @property
    def black(self) -> int:
        """Pairs in which a shutter fired its contact and let no light through."""
        return int(self.mids.black.any(axis=1).sum())


@dataclass(frozen=True, slots=True)
class Analysis:
    """A measured session, the offset it suggests (`why_none` says why there is none), and what was
    noticed."""

    measured: Measured
    suggestion: OffsetSuggestion | None
    why_none: str | None
    findings: tuple[Finding, ...] = ()


def measure(session: Session) -> Measured:
    """Pairs, mid-exposures and skews of a session, from the file alone.

    What was known before (learned of the bodies, the box's zero check) stands in the header too. Raises
    BadInput when the rig or the knowledge the session carries cannot be read.
    """
    rig = parse_rig(session.header.rig_toml, "the rig in the session file")
    known = known_from(session.header.known)
    flicker = find_flicker(session, rig.edge_rules)
    rules = rig.edge_rules if flicker is None else rules_under(flicker, rig.edge_rules)
    shots = shots_from_session(session, rules)
    input_delay_s = np.array([body.sensors.sync.delay_s for body in rig.both])
    if known.zero is not None:
        # How much later B's input answers than A's was measured; what the rig says of it is taken back.
        surplus_s = known.zero.skew_s - (input_delay_s[1] - input_delay_s[0])
        shots = replace(shots, sync_s=shots.sync_s - np.array([0.0, surplus_s]))
    mids = with_zero(mid_exposures(shots, as_wired(rig, known.wiring), known.learned), known)
    mids = with_recording(mids, known)
    if flicker is not None:
        mids = with_flicker(mids, flicker)
    lag_s = lags_s(shots, mids)
    # A lag counts from the isolator's output, not from the pin. The loop of a zero check went through a sync
    # input as well, whose delay is already off the mid-exposures.
    lag_s = lag_s - (
        isolators_s(known) if known.zero is None else np.array(known.zero.loop_s) - input_delay_s
    )
    return Measured(
        session=session,
        rig=rig,
        shots=shots,
        mids=mids,
        lag_s=lag_s,
        skew_s=skews_s(mids),
        offset_on_s=offsets_on_s(shots),
        resolution_s=QUANTUM_TICKS / session.header.tick_hz,
        tolerance_s=tolerance_s(rig),
        known=known,
        flicker=flicker,
    )


def offset_of(measured: Measured) -> OffsetSuggestion:
    """The offset that measured pairs suggest. Raises BadInput as `suggest_offset` does."""
    found = suggest_offset(
        measured.skew_s,
        tolerance_s=measured.tolerance_s,
        resolution_s=measured.resolution_s,
        offset_s=measured.offset_on_s,
        start_s=measured.shots.start_s,
        rest_s=measured.shots.rest_s,
        type_b_s=measured.mids.type_b_s,
    )
    return with_lost_keepers(found, measured.black)


def verified(suggestion: OffsetSuggestion, fresh: Measured) -> Verification:
    """A fresh session, fired with the offset on, against what the suggestion promised. Raises BadInput as `verify`
    does."""
    return verify(
        suggestion,
        fresh.skew_s,
        start_s=fresh.shots.start_s,
        rest_s=fresh.shots.rest_s,
        resolution_s=fresh.resolution_s,
        black=fresh.black,
    )


def in_order(one: Analysis, other: Analysis) -> tuple[Analysis, Analysis]:
    """(The series, the fresh one fired with the offset on), whichever way round they come: the files know.

    Raises BadInput where both had an offset on, or neither though one was suggested.
    """
    on = [bool(np.any(each.measured.offset_on_s != 0.0)) for each in (one, other)]
    if all(on):
        raise BadInput(
            "Both sessions were fired with an offset on: one has to be the series without, which suggested it."
        )
    suggestion = one.suggestion
    if (
        not any(on)
        and suggestion is not None
        and not suggestion.interval_s[0] <= 0.0 <= suggestion.interval_s[1]
    ):
        raise BadInput(
            "Neither session was fired with an offset on: fire the fresh one with it, such as "
            f"'coincide series --offset \"{suggestion.body_to_delay} {suggestion.delay_s * 1e3:.2f}ms\"'."
        )
    return (other, one) if on[0] else (one, other)


def analyse(session: Session) -> Analysis:
    """Measure a session and suggest the offset. Raises BadInput as `measure` does."""
    measured = measure(session)
    names = (measured.rig.bodies.a.name, measured.rig.bodies.b.name)
    found = notice(
        measured.shots,
        # A body that fired its contact did answer, light or no light.
        np.where(measured.mids.black, measured.shots.sync_s, measured.mids.mid_s),
        measured.lag_s,
        names=names,
        winds=(measured.rig.bodies.a.wind, measured.rig.bodies.b.wind),
    )
    found += tuple(
        Finding("sensors", letter, said, "")
        for letter, body in zip(BODIES, measured.mids.bodies, strict=True)
        for said in body.complaints
    )
    found += notice_black(
        measured.mids.black, np.isfinite(measured.mids.exposure_s), measured.shots.number, names
    )
    found += _of_the_lamp(measured) + later_drift(measured.known, names)
    found += _clock_back(measured.shots)
    stale = measured.known.stale_zero
    if stale is not None:
        found += (Finding("zero_check", None, stale, MEASURE_ZERO),)
    if measured.mids.refusals:
        return Analysis(measured, None, " ".join(measured.mids.refusals), found)
    try:
        suggestion = offset_of(measured)
    except BadInput as refused:
        return Analysis(measured, None, str(refused), found)
    number, bare_s = measured.shots.number, measured.skew_s + measured.offset_on_s
    found += notice_in_time(suggestion, number) + notice_growth(suggestion, bare_s, number)
    found += notice_shape(suggestion)
    if not any(one.code == "first shot" for one in found):
        found += notice_left_out(suggestion, number)
    return Analysis(measured, suggestion, None, found)


def _clock_back(shots: Shots) -> tuple[Finding, ...]:
    """Pairs that began before the one in front of them: no clock does that which ran on."""
    back = np.flatnonzero(np.diff(shots.start_s) < 0.0)
    if not back.size:
        return ()
    row = int(back[0])
    more = "" if back.size == 1 else f", and {back.size - 1} more such places"
    return (
        Finding(
            "clock went back",
            None,
            f"The box's clock went back between pairs {int(shots.number[row])} and {int(shots.number[row + 1])}{more}: "
            "it was started anew, or the file was put together from several.",
            "Skews are not touched by it; drifts and rests across that place are not what they seem. Fire the series "
            "again in one go if it matters.",
            {"places": float(back.size)},
        ),
    )


def _of_the_lamp(measured: Measured) -> tuple[Finding, ...]:
    """A flickering lamp, or exposures as unsteady as one makes them."""
    if measured.flicker is not None:
        return (notice_flicker(measured.flicker),)
    unsteady = (
        notice_unsteady(body.exposure_s, f"{described.name} ({letter})", letter)
        for letter, body, described in zip(BODIES, measured.mids.bodies, measured.rig.both, strict=True)
    )
    return tuple(one for one in unsteady if one is not None)


def analyse_file(path: Path) -> Analysis:
    """Read and analyse a session, from the file alone. Raises BadInput."""
    return analyse(read_session(path))
