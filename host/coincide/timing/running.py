"""A series while it is being fired: the latest pairs measured, without reading the file again and again."""

from __future__ import annotations

from collections import deque

import numpy as np

from coincide.errors import BadInput
from coincide.session.memory import records_of, session_from_records
from coincide.session.model import Floats, Header, Session, ShotRecord
from coincide.timing.analysis import Measured, measure, offset_of
from coincide.timing.offset.suggest import OffsetSuggestion

KEPT = 400  # of a long watch only the latest are looked at; the file keeps all


class RunningSeries:
    """Takes records one by one; knows the latest `KEPT` pairs, measured."""

    def __init__(self, header: Header, earlier: Session | None = None) -> None:
        """`earlier`: what the file held before; it counts for the offset, and not in `taken`."""
        self._header = header
        known = () if earlier is None else records_of(earlier, KEPT)
        self._records: deque[ShotRecord] = deque(known, maxlen=KEPT)
        self.measured: Measured | None = None
        if known:
            self.measured = measure(session_from_records(header, known))
        self.taken = 0
        self.before = 0 if earlier is None else earlier.shot.size

    def take(self, record: ShotRecord) -> float:
        """Take the next record. Its skew in seconds, NaN where it has none."""
        self._records.append(record)
        self.taken += 1
        self.measured = measure(session_from_records(self._header, tuple(self._records)))
        return float(self.measured.skew_s[-1])

    @property
    def skew_s(self) -> Floats:
        """Skews of the pairs so far, seconds."""
        return np.empty(0) if self.measured is None else self.measured.skew_s

    def suggestion(self) -> OffsetSuggestion | None:
        """The offset the pairs so far suggest, or None while there are too few."""
        now = self.measured
        if now is None or np.isfinite(now.skew_s).sum() < 8:
            return None
        try:
            return offset_of(now)
        except BadInput:
            return None
