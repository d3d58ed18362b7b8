"""Which plug is which: one pair fired far apart shows who answers to which release."""

from __future__ import annotations

from dataclasses import dataclass

from coincide.errors import BoxFailed
from coincide.session.model import Header, Plan, Remark, ShotRecord

from .answering import answer_tick, swapped_plugs
from .client import BoxClient
from .collect import Collector

APART_NS = 450_000_000  # longer than the lag of any body worth calibrating
NUMBER = 999_999_999
LATE_S = 5.0


@dataclass(frozen=True, slots=True)
class PlugCheck:
    """What one pair fired far apart has shown. `answered` by body; `swapped` when each answered to the other's
    release. `sentences` say it to the person; `record` has the edges."""

    answered: tuple[bool, bool]
    swapped: bool
    sentences: tuple[str, ...]
    record: ShotRecord

    @property
    def passed(self) -> bool:
        """Both answered, each to its own release."""
        return all(self.answered) and not self.swapped


class _OneRecord:
    """Keeps the pair in memory: a check is no session."""

    def __init__(self, client: BoxClient) -> None:
        identity = client.identity
        self.header = Header(
            "", "zero", identity.tick_hz, identity.channels, "", identity.raw, ("", ""), preset=None
        )
        self.last_shot = 0
        self.record: ShotRecord | None = None

    def append(self, record: ShotRecord) -> None:
        self.record = record

    def remark(self, remark: Remark) -> None:
        """A check keeps no remarks; their sentences come back."""


def check_plugs(
    client: BoxClient,
    names: tuple[str, str] = ("body A", "body B"),
    *,
    lead_ns: int = 300_000_000,
    closure_ns: int = 150_000_000,
) -> PlugCheck:
    """Fire one pair, B nearly half a second after A, and see who answers when. Costs a frame on each body.

    Bodies wound by hand have to be wound, and the box told so, before. Raises BoxRefused when the box may not
    fire (`interlock`, `not_wound`), BoxFailed when it does not tell how it went.
    """
    plan = Plan(0, APART_NS, lead_ns, closure_ns, 1_000_000_000)
    kept = _OneRecord(client)
    collector = Collector(client, kept, lambda _: None, lambda _: None)
    client.arm(round((lead_ns + APART_NS + plan.window_ns) * 1e-6) + 4000)
    client.fire(NUMBER, plan)
    deadline = (
        client.port.now_s() + (lead_ns + APART_NS + plan.window_ns) * 1e-9 + LATE_S * client.talk.slowdown
    )
    while kept.record is None:
        event = client.event(0.5)
        event = None if event is None else collector.take(event)
        if event is not None and event.kind == "shot" and event.fields.get("shot") == NUMBER:
            collector.keep(event, 1, plan)
        elif event is not None:
            collector.skip(event)
        elif client.port.now_s() > deadline:
            raise BoxFailed("The box fired and never told how it went: unplug it, plug it in and try again.")
    client.ensure_open()
    return _judged(kept.record, names, tuple(collector.sentences))


def _judged(record: ShotRecord, names: tuple[str, str], heard: tuple[str, ...]) -> PlugCheck:
    answered = (answer_tick(record, 0) is not None, answer_tick(record, 1) is not None)
    says = list(heard)
    swapped = swapped_plugs(record, names)
    if swapped is not None:
        says.append(swapped)
    for body, name in enumerate(names):
        if not answered[body]:
            says.append(
                f"{name} did not answer: check its release plug, that it is on and wound, and its sync lead or "
                "gate sensor."
            )
    if not says:
        says.append(f"{names[0]} and {names[1]} each answered to their own release.")
    return PlugCheck(answered, swapped is not None, tuple(says), record)
