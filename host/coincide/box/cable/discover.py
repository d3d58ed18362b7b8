"""Finds our box among the serial ports without disturbing the others.

A port is judged by its USB ids first. Only one that belongs to a Pico's MicroPython, or one the person has
named, is sent a single `identify`; no byte is ever written to any other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Protocol

from coincide.box.cable.answers import BoxIdentity, identity_from
from coincide.box.cable.ports import Port, SerialPort
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
    """One serial port. `kind`: 'box' (answered as ours), 'board' (a Pico that did not), 'other' (not asked)."""

    device: str
    kind: str
    description: str
    serial_number: str | None
    identity: BoxIdentity | None
    say: str


def ask_identity(device: str, open_port: Callable[[str], Port] = SerialPort) -> BoxIdentity:
    """Opens a port, sends one `identify`, waits a second, closes it. Raises BoxFailed when it is not our box."""
    port = open_port(device)
    try:
        # The empty line ends whatever half a line another program may have left.
        port.write(b"\n" + wire.encode({"id": ASK_ID, "do": "identify"}))
        reader = wire.LineReader()
        until_s = port.now_s() + ANSWER_S
        while (left_s := until_s - port.now_s()) > 0:
            for record in reader.feed(port.read(left_s)):
                if (
                    isinstance(record, dict)
                    and record.get("re") == ASK_ID
                    and isinstance(record.get("ok"), dict)
                ):
                    return identity_from(record["ok"])
    finally:
        port.close()
    raise BoxFailed(
        f"The board on {device} does not answer as a coincide box: 'coincide box install' puts the firmware on it; "
        "a box in rescue mode answers after unplugging and plugging in again."
    )


def serial_ports() -> list[Any]:
    """The serial ports of this machine, none of them opened."""
    from serial.tools.list_ports import comports

    return list(comports())


def find_boxes(
    named: Iterable[str] = (),
    *,
    ports: Callable[[], Iterable[PortInfo]] = serial_ports,
    ask: Callable[[str], BoxIdentity] = ask_identity,
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
    say = "Not a Pico by its USB ids; not asked."
    return Found(port.device, OTHER, port.description, port.serial_number, None, say)


def _ask(
    device: str, description: str, serial_number: str | None, ask: Callable[[str], BoxIdentity]
) -> Found:
    try:
        identity = ask(device)
    except BoxFailed as error:
        return Found(device, BOARD, description, serial_number, None, str(error))
    say = "A simulated coincide box: nothing real is connected." if identity.simulated else "A coincide box."
    return Found(device, BOX, description, serial_number, identity, say)
