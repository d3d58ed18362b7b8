"""Finds our box among the serial ports without disturbing the others.

A port is judged by its USB ids first. Only one that belongs to MicroPython on an RP2040 or RP2350, or one the
person has named, is sent a single `identify`; no byte is ever written to any other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Protocol

from coincide.box.cable import ports
from coincide.box.cable.answers import BoxIdentity, identity_from
from coincide.box.cable.ports import Port
from coincide.box.cable.starting import HEARD_MOST, STARTS_S, starting_words, why_not_started
from coincide.errors import BoxFailed
from coincide_firmware.app import wire

# USB ids of MicroPython's serial port on the RP2040 and RP2350 (MicroPython's rp2 port, from memory).
MICROPYTHON_VID = 0x2E8A
MICROPYTHON_PID = 0x0005
ANSWER_S = 1.0
ASK_ID = 1

BOX = "box"
BOARD = "board"
OTHER = "other"


class PortInfo(Protocol):
    """What pyserial tells of a port without opening it."""

    device: str
    description: str
    vid: int | None
    pid: int | None
    serial_number: str | None


@dataclass(frozen=True)
class Found:
    """One serial port. `kind`: 'box' (answered as ours), 'board' (such a chip that did not), 'other' (not asked)."""

    device: str
    kind: str
    description: str
    serial_number: str | None
    identity: BoxIdentity | None
    say: str


def ask_identity(
    device: str,
    open_port: Callable[[str], Port] | None = None,
    starts_s: float = ANSWER_S,
    starting: Callable[[str], None] | None = None,
) -> BoxIdentity:
    """Opens a port, sends one `identify`, waits a second, closes it. One that stays silent is asked again until
    `starts_s` are over: it may be starting, which `starting` is told once. Raises BoxFailed when it is not our box."""
    port = (open_port or ports.SerialPort)(device)
    heard = b""
    until_s = port.now_s() + starts_s
    try:
        while not heard:
            identity, heard = _asked_once(port)
            if identity is not None:
                return identity
            if port.now_s() >= until_s:
                break
            if not heard and starting is not None:
                starting(starting_words(device))
                starting = None
    finally:
        port.close()
    raise BoxFailed(
        why_not_started(device, heard)
        or f"The board on {device} does not answer as a coincide box: 'coincide box install' puts the firmware on it; "
        "a box in rescue mode answers after unplugging and plugging in again."
    )


def _asked_once(port: Port) -> tuple[BoxIdentity | None, bytes]:
    """(who it is or None, what came instead) within a second."""
    heard = b""
    # The empty line ends whatever half a line another program may have left.
    port.write(b"\n" + wire.encode({"id": ASK_ID, "do": "identify"}))
    reader = wire.LineReader()
    until_s = port.now_s() + ANSWER_S
    while (left_s := until_s - port.now_s()) > 0:
        data = port.read(left_s)
        heard = (heard + data)[-HEARD_MOST:]
        for record in reader.feed(data):
            if isinstance(record, dict) and record.get("re") == ASK_ID and isinstance(record.get("ok"), dict):
                return identity_from(record["ok"]), heard
    return None, heard


def ask_patiently(device: str, starting: Callable[[str], None] | None = None) -> BoxIdentity:
    """`ask_identity`, with the time that a start may take."""
    return ask_identity(device, starts_s=STARTS_S, starting=starting)


def serial_ports() -> list[Any]:
    """The serial ports of this machine, none of them opened."""
    from serial.tools.list_ports import comports

    return list(comports())


def find_boxes(
    named: Iterable[str] = (),
    *,
    ports: Callable[[], Iterable[PortInfo]] = serial_ports,
    ask: Callable[[str], BoxIdentity] = ask_patiently,
) -> tuple[Found, ...]:
    """All serial ports, boxes first. `named` are ports to ask whatever their USB ids say.

    A named port that this machine does not list (a pseudo-terminal, say) is asked as well.
    """
    wanted = list(dict.fromkeys(named))
    found = [_look(port, port.device in wanted, ask) for port in ports()]
    listed = {one.device for one in found}
    found += [_ask(device, "named by you", None, ask) for device in wanted if device not in listed]
    order = {BOX: 0, BOARD: 1, OTHER: 2}
    return tuple(sorted(found, key=lambda one: (order[one.kind], one.device)))


def _look(port: PortInfo, named: bool, ask: Callable[[str], BoxIdentity]) -> Found:
    if named or (port.vid, port.pid) == (MICROPYTHON_VID, MICROPYTHON_PID):
        return _ask(port.device, port.description, port.serial_number, ask)
    say = "No RP2040 or RP2350 by its USB ids; not asked."
    return Found(port.device, OTHER, port.description, port.serial_number, None, say)


def _ask(
    device: str, description: str, serial_number: str | None, ask: Callable[[str], BoxIdentity]
) -> Found:
    try:
        identity = ask(device)  # a silent one may be starting
    except BoxFailed as error:
        return Found(device, BOARD, description, serial_number, None, str(error))
    say = "A simulated coincide box: nothing real is connected." if identity.simulated else "A coincide box."
    return Found(device, BOX, description, serial_number, identity, say)
