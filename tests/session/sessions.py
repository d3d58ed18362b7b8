"""Sessions made by hand for the tests: edges written as seconds, so that the truth is in plain sight."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from coincide.session.file import SessionWriter
from coincide.session.model import Header, Plan, Remark, ShotRecord

CHANNELS = (
    "half_a",
    "full_a",
    "half_b",
    "full_b",
    "sync_a",
    "sync_b",
    "gate_a1",
    "gate_a2",
    "gate_b1",
    "gate_b2",
    "beat",
)
TICK_HZ = 125_000_000
USUAL = Plan()
AT = "2031-05-04T06:12:00.000+00:00"

HEADER = Header(
    created=AT,
    purpose="series",
    tick_hz=TICK_HZ,
    channels=CHANNELS,
    rig_toml="# the fen rig (invented)\n",
    box={"board": {"board": "simulated", "uid": "sim-00000001", "simulated": True}},
    exposures=("1/60", "1/125"),
)


def record(
    shot: int,
    edges: Sequence[tuple[str, int, float]],
    *,
    at_s: float = 0.0,
    plan: Plan | None = USUAL,
    lost: int = 0,
) -> ShotRecord:
    """A pair from (channel, level, seconds) triples; `at_s` is when the pair was fired."""
    in_order = sorted(edges, key=lambda edge: edge[2])
    return ShotRecord(
        shot=shot,
        at=AT,
        plan=plan,
        channel=tuple(CHANNELS.index(name) for name, _, _ in in_order),
        level=tuple(level for _, level, _ in in_order),
        tick=tuple(round((at_s + second) * TICK_HZ) for _, _, second in in_order),
        lost=lost,
    )


def pulse(channel: str, from_s: float, to_s: float) -> list[tuple[str, int, float]]:
    """One closing and its opening."""
    return [(channel, 1, from_s), (channel, 0, to_s)]


def write(
    path: Path, records: Sequence[ShotRecord], header: Header = HEADER, remarks: Sequence[Remark] = ()
) -> Path:
    """A whole session file."""
    with SessionWriter(path, header) as writer:
        for one in records:
            writer.append(one)
        for remark in remarks:
            writer.remark(remark)
    return path
