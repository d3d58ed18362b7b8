"""Puts the firmware on a board: exactly the files of `firmware/` that belong there, each proved by its hash."""

from __future__ import annotations

import contextlib
import hashlib
import io
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol

from mpremote.transport import TransportError
from mpremote.transport_serial import SerialTransport

from coincide.box.cable.answers import BoxIdentity, BoxRefused
from coincide.box.cable.client import BoxClient
from coincide.box.cable.discover import ask_identity
from coincide.box.cable.lost import PortLost
from coincide.box.cable.ports import Port, SerialPort
from coincide.box.firmware import LAST, PACKAGES, board_files, compiled_files
from coincide.durable import make_folder, write_outputs
from coincide.errors import BoxFailed

LEAST_MICROPYTHON = (1, 24)
RAW_REPL_WAIT_S = 5
IS_STARTING_S = 5.0  # a board that says nothing may be a box that was just plugged in
LEAVES_S = 2.0  # within so long a box that goes into rescue mode is gone from its port, if it goes at all
RETURNS_S = 15.0
LOOK_AGAIN_S = 0.25
INTERRUPT = b"\r\x03\x03"  # Ctrl-C, to a program that runs on a board (MicroPython's raw mode)
FLOODS_S = 3.0
PAUSE_S = 0.1
STARTS_S = 20.0  # a board that compiles its files at every start takes some four seconds
BY_HAND = "unplug the box, hold its 'preset' button while plugging it in, and repeat"


@dataclass(frozen=True)
class Progress:
    """How far an installation is. `number` counts from 1; bytes of all files together."""

    name: str
    number: int
    files: int
    bytes_done: int
    bytes_all: int


@dataclass(frozen=True)
class InstallOutcome:
    """What was done. `written` of `files` files differed from what was there; `compiled`: for the board's own
    interpreter, else as source. `identity` is the box that answered after its restart, `crash` what it has on record;
    both None where nothing was restarted."""

    where: str
    micropython: str
    files: int
    written: int
    bytes_all: int
    removed: tuple[str, ...]
    compiled: bool = False
    identity: BoxIdentity | None = None
    crash: dict[str, Any] | None = None


class Transport(Protocol):
    """What is used of mpremote's transport."""

    def enter_raw_repl(self, soft_reset: bool = True, timeout_overall: int = 10) -> None: ...
    def exit_raw_repl(self) -> None: ...
    def eval(self, expression: str, parse: bool = True) -> Any: ...
    def exec_raw_no_follow(self, command: str) -> None: ...
    def fs_exists(self, src: str) -> bool: ...
    def fs_listdir(self, src: str = "") -> Sequence[Any]: ...
    def fs_mkdir(self, path: str) -> None: ...
    def fs_rmfile(self, path: str) -> None: ...
    def fs_writefile(
        self,
        dest: str,
        data: bytes,
        chunk_size: int = 256,
        progress_callback: Callable[[int, int], None] | None = None,
    ) -> None: ...
    def fs_hashfile(self, path: str, algo: str, chunk_size: int = 256) -> bytes: ...
    def close(self) -> None: ...


def _silent(_: Progress) -> None:
    return


def install_to_directory(path: Path, progress: Callable[[Progress], None] = _silent) -> InstallOutcome:
    """Writes the files into a folder, as they would lie on the board.

    Raises BadInput when the folder cannot be written, or holds another file of one of these names; then nothing is.
    """
    files = board_files()
    sizes = sum(map(len, files.values()))
    contents = {path / name: content for name, content in files.items()}
    for folder in {target.parent for target in contents}:
        make_folder(folder)
    write_outputs(contents)
    done = 0
    for number, (name, content) in enumerate(files.items(), 1):
        done += len(content)
        progress(Progress(name, number, len(files), done, sizes))
    return InstallOutcome(str(path), "", len(files), len(files), sizes, ())


def open_transport(port: str) -> Transport:
    """mpremote's serial transport. Raises BoxFailed in a sentence when the port cannot be opened."""
    try:
        transport: Transport = SerialTransport(port, baudrate=115_200)
    except TransportError:
        raise BoxFailed(
            f"The port {port} cannot be opened: plug the board in, close other programs that use it, "
            "and see 'coincide box list'."
        ) from None
    return transport


def reach_rescue_mode(port: str, open_port: Callable[[str], Port] = SerialPort) -> str:
    """Sends a box that runs our firmware into rescue mode; the port's name afterwards, which may be another.

    Where no box of ours answers, nothing is done. Raises BoxFailed in a sentence when the box will not or does not
    come back.
    """
    try:
        ask_identity(port, open_port, IS_STARTING_S)
    except BoxFailed:
        _refuse_flood(port, open_port)
        return port
    opened = open_port(port)
    try:
        client = BoxClient(opened, any_version=True)
        try:
            client.talk.ask("rescue", {"boot": client.identity.boot})
        except BoxRefused as refused:
            raise BoxFailed(_why_no_rescue(port, refused)) from None
        except PortLost:
            pass  # its reply was lost on the way out
        return _port_after_restart(opened)
    finally:
        opened.close()


def _refuse_flood(port: str, open_port: Callable[[str], Port]) -> None:
    """What talks without a pause, and cannot be interrupted either, is no board that waits: the installing library
    would read on for ever. Raises BoxFailed. A port that cannot be opened is told of where it is opened for good."""
    try:
        opened = open_port(port)
    except BoxFailed:
        return
    try:
        opened.write(INTERRUPT)
        until_s = opened.now_s() + FLOODS_S
        while opened.read(PAUSE_S):
            if opened.now_s() >= until_s:
                raise BoxFailed(
                    f"What is on {port} talks without a pause and is no board that waits for files: choose another "
                    "port ('coincide box list'), or unplug it and plug it in again."
                )
    except PortLost:
        pass
    finally:
        opened.close()


def _why_no_rescue(port: str, refused: BoxRefused) -> str:
    if refused.code == "unknown_verb":
        return f"The firmware on {port} is too old to be updated while it runs: {BY_HAND}."
    if refused.code == "unread":
        return (
            f"The box on {port} still holds a pair that no session has on file: go on with that session first, or "
            f"give the pair up: {BY_HAND}."
        )
    return f"The box on {port} cannot be updated now: {refused}"


def _port_after_restart(port: Port) -> str:
    """Waits until the box has gone and come back; its port's name then."""
    until_s = port.now_s() + LEAVES_S
    try:
        while port.now_s() < until_s:
            port.read(LOOK_AGAIN_S)
    except PortLost:
        pass
    until_s = port.now_s() + RETURNS_S
    while not port.reopen():
        if port.now_s() >= until_s:
            raise BoxFailed(
                f"The box went into rescue mode and has not come back on {port.name}: see 'coincide box list', "
                "and repeat with the port it has now."
            )
        port.wait(LOOK_AGAIN_S)
    return port.name


def started_box(
    port: str, open_port: Callable[[str], Port] = SerialPort, within_s: float = STARTS_S
) -> tuple[BoxIdentity, dict[str, Any] | None]:
    """Waits for the box to answer after its restart: who it is, and its crash record.

    Raises BoxFailed in a sentence when it does not within `within_s`.
    """
    until_s = time.monotonic() + within_s
    while True:
        try:
            identity = ask_identity(port, open_port)
            break
        except BoxFailed as failed:
            if time.monotonic() >= until_s:
                raise BoxFailed(
                    f"Every file is on the board on {port} and verified, but the box does not answer after its "
                    f"restart: {failed}"
                ) from None
            time.sleep(LOOK_AGAIN_S)
    if not identity.crash:
        return identity, None
    opened = open_port(port)
    try:
        return identity, BoxClient(opened, any_version=True).crash()
    finally:
        opened.close()


def install(
    port: str,
    progress: Callable[[Progress], None] = _silent,
    transport: Callable[[str], Transport] = open_transport,
    rescue: Callable[[str], str] = reach_rescue_mode,
    ask: Callable[[str], tuple[BoxIdentity, dict[str, Any] | None]] = started_box,
) -> InstallOutcome:
    """Writes the firmware to the board on `port`, checks every file's SHA-256 on the board, restarts it and asks it
    who it is.

    A box that runs our firmware is sent into rescue mode first. Files that are already right are left alone;
    former files of ours that no longer belong are removed;
    the box's own data (settings, presets, frame log) are not touched. Raises BoxFailed in a sentence.
    """
    port = rescue(port)
    board = transport(port)
    try:
        _reach(board, port)
        try:
            done = _install(board, port, progress)
        except (TransportError, OSError) as error:
            raise BoxFailed(
                f"The installation on {port} was cut short ({_reason(error)}): the outputs stay open and the "
                "box does not start; unplug it, plug it in again and repeat 'coincide box install'."
            ) from error
    finally:
        with contextlib.suppress(TransportError, OSError):
            board.close()
    identity, crash = ask(port)
    return replace(done, identity=identity, crash=crash)


def _reason(error: Exception) -> str:
    lines = str(error).strip().splitlines()
    return lines[-1] if lines else type(error).__name__


def _reach(board: Transport, port: str) -> None:
    """The board's interpreter, ready for commands."""
    try:
        # The library prints what it read when it fails.
        with contextlib.redirect_stdout(io.StringIO()):
            board.enter_raw_repl(soft_reset=False, timeout_overall=RAW_REPL_WAIT_S)
    except (TransportError, OSError):
        raise BoxFailed(
            f"No interpreter answers on {port}. If firmware of ours is on it: {BY_HAND}. If the board is new: put "
            "MicroPython 1.24 or newer on it first."
        ) from None


def _install(board: Transport, port: str, progress: Callable[[Progress], None]) -> InstallOutcome:
    version, mpy = _supported_version(board, port)
    compiled = compiled_files(mpy)
    files = compiled or board_files()
    sizes = sum(map(len, files.values()))
    # While files are mixed, nothing starts by itself.
    stale = [name for name in files if not _is_right(board, name, files[name])]
    if stale and board.fs_exists(LAST):
        board.fs_rmfile(LAST)
        stale = [name for name in files if name in stale or name == LAST]
    for package in PACKAGES:
        if not board.fs_exists(package):
            board.fs_mkdir(package)
    removed = _remove_former(board, set(files))
    done = 0
    for number, (name, content) in enumerate(files.items(), 1):
        if name in stale:
            before = done

            def written(
                sent: int, _: int, name: str = name, number: int = number, before: int = before
            ) -> None:
                progress(Progress(name, number, len(files), before + sent, sizes))

            board.fs_writefile(name, content, progress_callback=written)
            if not _is_right(board, name, content):
                raise BoxFailed(
                    f"{name} did not arrive whole on {port}: repeat 'coincide box install'; if it fails "
                    "again, the board's flash or the cable is at fault."
                )
        done += len(content)
        progress(Progress(name, number, len(files), done, sizes))
    board.exec_raw_no_follow("import machine\nmachine.reset()")
    return InstallOutcome(port, version, len(files), len(stale), sizes, removed, compiled is not None)


def _supported_version(board: Transport, port: str) -> tuple[str, int]:
    """The version in words, and the interpreter's format of compiled files."""
    platform, version, mpy = board.eval(
        "(__import__('sys').platform, tuple(__import__('sys').implementation[1])[:3], "
        "getattr(__import__('sys').implementation, '_mpy', 0))"
    )
    text = ".".join(map(str, version))
    if platform != "rp2":
        raise BoxFailed(
            f"The board on {port} has no RP2040 or RP2350 chip (its MicroPython says '{platform}'): the box's timing "
            "needs the PIO of those two; choose another port."
        )
    if tuple(version[:2]) < LEAST_MICROPYTHON:
        raise BoxFailed(
            f"The board on {port} runs MicroPython {text}; the box needs 1.24 or newer: hold BOOTSEL while "
            "plugging the board in, copy a newer MicroPython to the drive that appears, and repeat."
        )
    return text, mpy


def _is_right(board: Transport, name: str, content: bytes) -> bool:
    if not board.fs_exists(name):
        return False
    return bytes(board.fs_hashfile(name, "sha256")) == hashlib.sha256(content).digest()


def _remove_former(board: Transport, wanted: set[str]) -> tuple[str, ...]:
    """Files in our own packages that no longer belong there."""
    removed = []
    for package in PACKAGES:
        for entry in board.fs_listdir(package):
            name = f"{package}/{entry.name}"
            if name not in wanted and entry.name.endswith((".py", ".mpy")):
                board.fs_rmfile(name)
                removed.append(name)
    return tuple(removed)
