"""A Session made from records in memory, as reading them back from a file would make it, and the way back."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from coincide.session.model import EdgeTable, Header, Plan, Session, ShotRecord


def session_from_records(header: Header, records: Sequence[ShotRecord]) -> Session:
    """One row a record, in their order."""
    sizes = [len(record.tick) for record in records]
    plans = [
        (-1,) * 5
        if record.plan is None
        else (
            record.plan.delay_a_ns,
            record.plan.delay_b_ns,
            record.plan.lead_ns,
            record.plan.closure_ns,
            record.plan.window_ns,
        )
        for record in records
    ]

    def column(name: str) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
        return np.array([value for record in records for value in getattr(record, name)], dtype=np.int64)

    return Session(
        header=header,
        shot=np.array([record.shot for record in records], dtype=np.int64),
        lost=np.array([record.lost for record in records], dtype=np.int64),
        plan_ns=np.array(plans, dtype=np.int64).reshape(-1, 5),
        edges=EdgeTable(
            row=np.repeat(np.arange(len(records)), sizes).astype(np.int64),
            channel=column("channel"),
            level=column("level"),
            tick=column("tick"),
        ),
    )


def records_of(session: Session, latest: int) -> tuple[ShotRecord, ...]:
    """The last `latest` rows as records again; when each was fired (`at`) a session does not keep."""
    edges = session.edges
    rows = range(max(session.shot.size - latest, 0), session.shot.size)
    begins = np.searchsorted(edges.row, list(rows), side="left")
    ends = np.searchsorted(edges.row, list(rows), side="right")
    return tuple(
        ShotRecord(
            shot=int(session.shot[row]),
            at="",
            plan=None if session.plan_ns[row, 0] < 0 else Plan(*map(int, session.plan_ns[row])),
            channel=tuple(edges.channel[begin:end].tolist()),
            level=tuple(edges.level[begin:end].tolist()),
            tick=tuple(edges.tick[begin:end].tolist()),
            lost=int(session.lost[row]),
        )
        for row, begin, end in zip(rows, begins, ends, strict=True)
    )
