"""Ports: the bytes between host and box, with one clock for time and for waiting."""

from __future__ import annotations

import os
import time
from typing import TYPE_CHECKING, Protocol

import serial

from coincide.box.cable.lost import PortLost
from coincide.box.cable.owners import PortClaim
from coincide.errors import BoxFailed

if TYPE_CHECKING:
    from coincide.box.simulated.port import SimulatedPort

BAUD = 115_200  # USB serial ignores it; a real serial adapter would want some number
WRITE_TIMEOUT_S = 2.0


class Port(Protocol):
    """A byte stream to one box. Every method but `close` raises PortLost when the box has gone."""

    name: str

    def write(self, data: bytes) -> None:
        """Send all of these bytes."""

    def read(self, timeout_s: float) -> bytes:
        """What has arrived, as soon as something has; b"" after `timeout_s`."""

    def now_s(self) -> float:
        """A clock that never goes back, seconds; virtual on the simulated box."""

    def wait(self, seconds: float) -> None:
        """Let time pass on that clock."""

    def reopen(self) -> bool:
        """After PortLost: look for the same box, perhaps under a new name. False while it is not there."""

    def close(self) -> None:
        """Let go of the port. A second call does nothing."""


class SerialPort:
    """A serial port of this machine, ours alone while it is open.

    Raises BoxFailed in one sentence when the port does not exist, may not be opened, or is in use.
    """

    def __init__(self, name: str) -> None:
        self.name = name
        self._identity = _usb_identity(name)
        self._claim = PortClaim(name)
        self._serial = self._open()

    def write(self, data: bytes) -> None:
        try:
            self._serial.write(data)
        except serial.SerialTimeoutException:
            raise PortLost(
                f"The port {self.name} takes no bytes: unplug the box, plug it in again and try again."
            ) from None
        except (serial.SerialException, OSError) as error:
            raise self._lost() from error

    def read(self, timeout_s: float) -> bytes:
        try:
            self._serial.timeout = max(timeout_s, 0.0)
            first = self._serial.read(1)
            return bytes(first + self._serial.read(self._serial.in_waiting)) if first else b""
        except (serial.SerialException, OSError, TypeError) as error:
            # TypeError: pyserial closed under our hands on some systems.
            raise self._lost() from error

    def now_s(self) -> float:
        return time.monotonic()

    def wait(self, seconds: float) -> None:
        time.sleep(seconds)

    def reopen(self) -> bool:
        self._serial.close()
        name = self._find_again()
        if name is None:
            return False
        if name != self.name:
            self._claim.release()
            self.name, self._claim = name, PortClaim(name)
        try:
            self._serial = self._open()
        except BoxFailed:
            return False
        return True

    def close(self) -> None:
        self._serial.close()
        self._claim.release()

    def _open(self) -> serial.Serial:
        self._claim.take()
        try:
            return serial.Serial(
                self.name,
                BAUD,
                timeout=0,
                write_timeout=WRITE_TIMEOUT_S,
                exclusive=True if os.name == "posix" else None,
            )
        except (serial.SerialException, OSError, ValueError) as error:
            self._claim.release()
            raise BoxFailed(_why_not(self.name, error)) from error

    def _find_again(self) -> str | None:
        from serial.tools.list_ports import comports

        if self._identity is None:
            return self.name if _usb_identity(self.name) is None and _exists(self.name) else None
        for port in comports():
            if (port.vid, port.pid, port.serial_number) == self._identity:
                return str(port.device)
        return None

    def _lost(self) -> PortLost:
        return PortLost(
            f"The box on {self.name} went away: check the USB cable and plug it in again; "
            "what was measured is kept."
        )


def open_port(
    name: str | None,
    *,
    seed: int = 1,
    world: str = "ennerby fen",
    exposures_s: tuple[float | None, float | None] = (None, None),
) -> SerialPort | SimulatedPort:
    """The port called `name`, or with None the simulated box in the named world.

    `exposures_s` turns the dials of the simulated bodies. Raises BoxFailed, or BadInput for an unknown world.
    """
    if name is not None:
        return SerialPort(name)
    # Imported where it is used: who has a box on a cable need not wait for the worlds.
    from coincide.box.simulated.port import open_simulated

    return open_simulated(world, seed=seed, exposures_s=exposures_s)


def _usb_identity(name: str) -> tuple[int | None, int | None, str | None] | None:
    """(vendor, product, serial number) of a USB port, by which it is found under another name; else None."""
    from serial.tools.list_ports import comports

    for port in comports():
        if port.device == name and port.vid is not None:
            return port.vid, port.pid, port.serial_number
    return None


def _exists(name: str) -> bool:
    return os.name != "posix" or os.path.exists(name)


def _why_not(name: str, error: Exception) -> str:
    number = getattr(error, "errno", None)
    text = str(error).lower()
    if number == 2 or "filenotfound" in text or "no such file" in text:
        return f"There is no port {name}: plug the box in and see 'coincide box list'."
    if number == 16 or "exclusively lock" in text or "busy" in text:
        return f"Another program has the port {name} open: close it and try again."
    if number == 13 or "permission" in text or "access is denied" in text:
        return (
            f"The port {name} may not be opened: another program has it, or this account lacks the right "
            "(on Linux: membership of the group that owns serial ports, often 'dialout')."
        )
    return f"{name} cannot be opened as a serial port: see 'coincide box list' for the ports there are."
