"""What the box answers, typed; a reply that lacks a field is refused as another version's."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeVar

import orjson

from coincide.errors import BoxFailed
from coincide.session.lines import FASTEST_TICK_HZ, SLOWEST_TICK_HZ
from coincide_firmware.app.error_words import ERRORS

Value = TypeVar("Value")


class BoxRefused(BoxFailed):
    """The box said no. `code` is one of firmware error_words.ERRORS; `more` what came with it, as `wait_ms`."""

    def __init__(self, code: str, say: object, more: dict[str, Any] | None = None) -> None:
        words = say if isinstance(say, str) and say.strip() else ERRORS.get(code)
        super().__init__(
            words
            or f"The box refused ({code:.40}) and did not say why: install the matching firmware with 'coincide box "
            "install'."
        )
        self.code = code
        self.more = more or {}


@dataclass(frozen=True, slots=True)
class BoxIdentity:
    """Who answers. `raw` is the whole reply, as it goes into a session's header."""

    protocol: int
    firmware: str
    boot: int
    tick_hz: int
    channels: tuple[str, ...]
    uid: str
    board: str
    simulated: bool
    reset_cause: str
    settings_ok: bool
    presets: tuple[str | None, ...]
    framelog: dict[str, Any]
    crash: bool
    raw: dict[str, Any]


@dataclass(frozen=True, slots=True)
class BoxStatus:
    """State of the box now. `outputs` is a mask (half_a 1, full_a 2, half_b 4, full_b 8); `shot` the number of the
    last pair fired, 0 when forgotten; `last_event` and `unread` tell which events it holds."""

    state: str
    armed_ms: int
    interlock: bool
    outputs: int
    watching: bool
    shot: int
    wound: bool
    unread: int
    last_event: int
    dropped: int
    wait_ms: int
    boot: int
    raw: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Event:
    """Something the box says of itself: sequence number, kind, and its fields."""

    seq: int
    kind: str
    fields: dict[str, Any]


@dataclass(frozen=True, slots=True)
class FrameLogPage:
    """`entries` there are in all; those from `start` in `page`, in the order of frame_words.FRAME_FIELDS."""

    entries: int
    capacity: int
    start: int
    page: tuple[tuple[Any, ...], ...]
    raw: dict[str, Any]


def need(reply: dict[str, Any], name: str, kind: type[Value]) -> Value:
    """A field of a reply, of the type it has to have."""
    value = reply.get(name)
    if not isinstance(value, kind) or (kind is int and isinstance(value, bool)):
        raise BoxFailed(
            f"The box's answer lacks '{name}': install the matching firmware with 'coincide box install'."
        )
    return value


def identity_from(reply: dict[str, Any]) -> BoxIdentity:
    """The typed reply to `identify`; protocol and firmware are checked by the caller, before.

    Raises BoxFailed for what no box can be: a clock that stands still, channels without a name of their own.
    """
    board = need(reply, "board", dict)
    try:
        orjson.dumps(reply)  # it goes into every session's header
    except TypeError:
        raise _senseless("identity", reply) from None
    tick_hz = need(reply, "tick_hz", int)
    channels = need(reply, "channels", list)
    if not SLOWEST_TICK_HZ <= tick_hz <= FASTEST_TICK_HZ:
        raise _senseless("tick_hz", tick_hz)
    if not channels or len(set(map(str, channels))) < len(channels):
        raise _senseless("channels", channels)
    return BoxIdentity(
        protocol=need(reply, "protocol", int),
        firmware=need(reply, "firmware", str),
        boot=need(reply, "boot", int),
        tick_hz=tick_hz,
        channels=tuple(map(str, channels)),
        uid=need(board, "uid", str),
        board=need(board, "board", str),
        simulated=board.get("simulated") is True,
        reset_cause=str(board.get("reset_cause", "")),
        settings_ok=need(reply, "settings_ok", bool),
        presets=tuple(None if name is None else str(name) for name in need(reply, "presets", list)),
        framelog=need(reply, "framelog", dict),
        crash=need(reply, "crash", bool),
        raw=reply,
    )


def _senseless(name: str, value: object) -> BoxFailed:
    return BoxFailed(
        f"The box says of itself {name} = {value!r:.60}, which cannot be: install the matching firmware with "
        "'coincide box install'."
    )


def status_from(reply: dict[str, Any]) -> BoxStatus:
    """The typed reply to `status`."""
    return BoxStatus(
        state=need(reply, "state", str),
        armed_ms=need(reply, "armed_ms", int),
        interlock=need(reply, "interlock", bool),
        outputs=need(reply, "outputs", int),
        watching=need(reply, "watching", bool),
        shot=need(reply, "shot", int),
        wound=need(reply, "wound", bool),
        unread=need(reply, "unread", int),
        last_event=need(reply, "last_event", int),
        dropped=need(reply, "dropped", int),
        wait_ms=need(reply, "wait_ms", int),
        boot=need(reply, "boot", int),
        raw=reply,
    )
