"""Finding the box: strangers are not written to."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from coincide.box.cable.answers import BoxIdentity
from coincide.box.cable.client import BoxClient
from coincide.box.cable.discover import ask_identity, find_boxes
from coincide.box.cable.ports import open_port
from coincide.errors import BoxFailed


@dataclass
class Info:
    device: str
    vid: int | None = None
    pid: int | None = None
    description: str = "a port"
    serial_number: str | None = "0123"


PICO = Info("/dev/b-pico", 0x2E8A, 0x0005)
OTHER_PICO = Info("/dev/a-pico", 0x2E8A, 0x0005)
BOOTLOADER = Info("/dev/c", 0x2E8A, 0x0003)
STRANGER = Info("/dev/d", 0x1234, 0x0005)
PLAIN = Info("/dev/e")


def identity() -> BoxIdentity:
    port = open_port(None)
    return ask_identity("simulated", open_port=lambda _: port)


def test_the_simulated_box_answers_one_identify() -> None:
    found = identity()
    assert found.simulated
    assert found.tick_hz > 0


def test_only_picos_are_asked_and_the_box_comes_first() -> None:
    asked: list[str] = []
    known = identity()

    def ask(device: str) -> BoxIdentity:
        asked.append(device)
        if device != PICO.device:
            raise BoxFailed("not a box")
        return known

    found = find_boxes(ports=lambda: [STRANGER, OTHER_PICO, PLAIN, BOOTLOADER, PICO], ask=ask)
    assert sorted(asked) == [OTHER_PICO.device, PICO.device]
    assert [(one.device, one.kind) for one in found] == [
        (PICO.device, "box"),
        (OTHER_PICO.device, "board"),
        (BOOTLOADER.device, "other"),
        (STRANGER.device, "other"),
        (PLAIN.device, "other"),
    ]
    assert found[0].identity is known
    assert found[1].say == "not a box"


def test_a_named_port_is_asked_whatever_it_is() -> None:
    asked: list[str] = []
    known = identity()

    def ask(device: str) -> BoxIdentity:
        asked.append(device)
        return known

    found = find_boxes([STRANGER.device, "/dev/pts/7"], ports=lambda: [STRANGER, PLAIN], ask=ask)
    assert asked == [STRANGER.device, "/dev/pts/7"]
    assert [one.kind for one in found] == ["box", "box", "other"]


class Deaf:
    """A port whose other end says things that are not an answer."""

    name = "deaf"

    def __init__(self) -> None:
        self.written: list[bytes] = []
        self.closed = False
        self._now_s = 0.0

    def write(self, data: bytes) -> None:
        self.written.append(data)

    def read(self, timeout_s: float) -> bytes:
        self._now_s += 0.3
        return b'>>> {"id": 1}\r\nTraceback\r\n'

    def now_s(self) -> float:
        return self._now_s

    def wait(self, seconds: float) -> None:
        self._now_s += seconds

    def reopen(self) -> bool:
        return False

    def close(self) -> None:
        self.closed = True


def test_a_board_without_our_firmware_gets_one_line_and_is_left_alone() -> None:
    port = Deaf()
    with pytest.raises(
        BoxFailed, match="MicroPython answers on x; our firmware did not start, because it is not on"
    ):
        ask_identity("x", open_port=lambda _: port)
    assert len(port.written) == 1
    assert port.closed


class Starting(Deaf):
    """Says nothing for so long, then something."""

    def __init__(self, silent_s: float, then: bytes) -> None:
        super().__init__()
        self._silent_s = silent_s
        self._then = then
        self.name = "x"

    def read(self, timeout_s: float) -> bytes:
        self._now_s += max(timeout_s, 0.01)
        return self._then if self._now_s > self._silent_s else b""


PROMPT = b"\r\ncoincide: rescue mode, outputs open: the board did not start: MemoryError()\r\n>>> "


def test_why_the_firmware_did_not_start_is_read_from_the_prompt() -> None:
    port = Starting(4.0, PROMPT)
    with pytest.raises(BoxFailed, match=r"because the board did not start: MemoryError\(\)\. Unplug"):
        ask_identity("x", open_port=lambda _: port, starts_s=12.0)
    assert port.now_s() < 6.0


def test_a_silent_board_is_given_the_time_a_start_takes_and_no_more() -> None:
    port = Starting(1000.0, b"")
    with pytest.raises(BoxFailed, match="does not answer as a coincide box"):
        ask_identity("x", open_port=lambda _: port, starts_s=12.0)
    assert 12.0 <= port.now_s() < 14.0


def test_who_opens_a_box_that_is_starting_is_told_and_waits() -> None:
    told: list[str] = []
    port = Starting(5.0, PROMPT)
    with pytest.raises(BoxFailed, match="because the board did not start"):
        BoxClient(port, starts_s=12.0, starting=told.append)
    assert 5.0 <= port.now_s() < 8.0
    assert len(told) == 1
    assert "is starting" in told[0]
