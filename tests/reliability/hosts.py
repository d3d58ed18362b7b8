"""The command line in processes of its own, its box kept by the test: a host can be killed, its box lives on.

The host's port is a pipe to the simulated box here, in virtual time, so nothing waits and nothing depends on how
fast the machine is. The processes come from a fork server that has the library loaded.
"""

from __future__ import annotations

import errno
import multiprocessing
import os
import re
import signal
import sys
from collections.abc import Callable
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np

from coincide import durable
from coincide.bench import calibration, firing
from coincide.bench.opening import acknowledge
from coincide.box.cable import ports
from coincide.box.cable.lost import PortLost
from coincide.box.simulated.port import SimulatedPort, open_simulated
from coincide.cli import main
from coincide.rig.new import TEMPLATE
from coincide.session.file import read_session
from coincide.session.model import Session
from coincide_firmware.app.wire import LineReader

PORT = "/dev/a-box-of-the-tests"
PATIENCE_S = 120.0  # of the test with a host that hangs; nothing is timed by it
NOBODY = 65534
LOADED = ["tests.reliability.loaded"]
# What of a program touches the disk, one call at a time.
DISK_CALLS = ("write", "fsync", "link", "replace", "unlink", "ftruncate")


@dataclass(frozen=True)
class Faults:
    """What goes wrong in the host itself.

    killed_at_disk_call: SIGKILL at the n-th call that touches the disk, of a `write` after a part of it went out.
    largest_file_bytes: no file grows beyond, as on a full disk. no_room_for: there is no room for files with this in
    their name. without_rights: as a user who owns nothing. clock: what the clock says, ISO 8601.
    """

    killed_at_disk_call: int | None = None
    largest_file_bytes: int | None = None
    no_room_for: str | None = None
    without_rights: bool = False
    clock: str | None = None


@dataclass(frozen=True)
class Host:
    """How a run of the command line ended. `code` is negative where a signal ended it."""

    code: int
    out: str
    err: str
    requests: int

    @property
    def killed(self) -> bool:
        return self.code == -signal.SIGKILL

    @property
    def said(self) -> str:
        return self.out + self.err

    def assert_one_sentence(self, code: int) -> None:
        assert self.code == code, self.said
        assert "Traceback" not in self.said
        last = self.err.strip().splitlines()[-1]
        assert last.startswith("coincide: ")
        assert last.endswith((".", "'"))


@dataclass
class Box:
    """The simulated box, kept here. `on_acknowledged` is told the first tick of each pair the host says is safe."""

    port: SimulatedPort
    on_acknowledged: Callable[[int], None] = lambda _: None
    acknowledged: list[int] = field(default_factory=list)
    _to_box: LineReader = field(default_factory=LineReader)
    _to_host: LineReader = field(default_factory=LineReader)
    _first_tick: int | None = None
    _told: dict[int, int] = field(default_factory=dict)  # number of a `shot` event: first tick of its pair

    def call(self, name: str, argument: Any) -> Any:
        """One call of the host's port."""
        if name == "write":
            self._hear(argument)
            return self.port.write(argument)
        if name == "read":
            data = self.port.read(argument)
            self._overhear(data)
            return data
        if name == "wait":
            return self.port.wait(argument)
        return self.port.reopen()

    def new_host(self) -> None:
        """Another host begins: half a line of the one before belongs to nobody."""
        self._to_box, self._to_host = LineReader(), LineReader()

    def _hear(self, data: bytes) -> None:
        for record in self._to_box.feed(data):
            if isinstance(record, dict) and record.get("do") == "ack":
                for number in [known for known in self._told if known <= record["upto"]]:
                    tick = self._told.pop(number)
                    self.acknowledged.append(tick)
                    self.on_acknowledged(tick)

    def _overhear(self, data: bytes) -> None:
        for record in self._to_host.feed(data):
            if not isinstance(record, dict) or "ev" not in record:
                continue
            if record["is"] == "edges":
                if self._first_tick is None:
                    self._first_tick = int(record["base"]) + int(record["e"][1])
            elif record["is"] == "shot":
                if self._first_tick is not None:
                    self._told[record["ev"]] = self._first_tick
                self._first_tick = None


def box(world: str = "steady", seed: int = 1) -> Box:
    return Box(open_simulated(world, seed=seed))


def rig_in(folder: Path) -> Path:
    """The template's rig with bodies that wind themselves."""
    path = folder / "rig.toml"
    path.write_text(re.sub('wind = "manual"', 'wind = "motor"', TEMPLATE), encoding="utf-8")
    return path


def run_host(
    words: list[str],
    folder: Path,
    box: Box,
    *,
    killed_at_request: int | None = None,
    faults: Faults = Faults(),
) -> Host:
    """`coincide WORDS --port ...` in a process of its own; SIGKILL where the n-th call of its port is under way."""
    return begin_host(words, folder, box, faults=faults).serve(killed_at_request)


def begin_host(words: list[str], folder: Path, box: Box, *, faults: Faults = Faults()) -> Running:
    return Running([*words, "--port", PORT], folder, box, faults)


class Running:
    """A host under way; nothing of it happens but while `serve` answers its port."""

    def __init__(self, words: list[str], folder: Path, box: Box, faults: Faults) -> None:
        self._folder, self._box = folder, box
        self._requests = 0
        self.ended: Host | None = None
        box.new_host()
        context = multiprocessing.get_context("forkserver")
        context.set_forkserver_preload(LOADED)
        ours, theirs = context.Pipe()
        said = [context.Pipe(duplex=False) for _ in ("out", "err")]
        self._pipe: Connection = ours
        self._said = [reader for reader, _ in said]
        ends = [theirs, *(writer for _, writer in said)]
        self._process = context.Process(target=_host, args=(words, folder, *ends, faults))
        self._process.start()
        for end in ends:
            end.close()

    def serve(self, killed_at_request: int | None = None, until: Callable[[], bool] = lambda: False) -> Host:
        """Answer its port until it ends, is killed, or `until` says so; how it ended, if it has."""
        while self.ended is None and not until():
            if not self._pipe.poll(PATIENCE_S):
                self._process.kill()
                raise AssertionError(f"the host hangs: {self._host()}")
            try:
                name, argument = self._pipe.recv()
            except (EOFError, ConnectionResetError):
                self.ended = self._host()
                break
            self._requests += 1
            if self._requests == killed_at_request:
                self._process.kill()
                self.ended = self._host()
            else:
                self._answer(name, argument)
        return self.ended or Host(0, "", "", self._requests)

    def kill(self) -> None:
        self._process.kill()

    def _answer(self, name: str, argument: Any) -> None:
        try:
            result = ("ok", self._box.call(name, argument))
        except PortLost as lost:
            result = ("lost", str(lost))
        # Where it has died meanwhile, the next `recv` says so.
        with suppress(BrokenPipeError):
            self._pipe.send((*result, self._box.port.now_s()))

    def _host(self) -> Host:
        """How it ended, and all it said: less than a pipe holds, so nobody waited."""
        self._process.join(PATIENCE_S)
        code = self._process.exitcode
        out, err = (_all_of(reader) for reader in self._said)
        for end in (self._pipe, *self._said):
            end.close()
        return Host(0 if code is None else code, out, err, self._requests)


def _all_of(reader: Connection) -> str:
    parts = []
    while part := os.read(reader.fileno(), 1 << 16):
        parts.append(part)
    return b"".join(parts).decode()


class PipedPort:
    """A port at the other end of which the test has the box."""

    def __init__(self, name: str, pipe: Connection) -> None:
        self.name = name
        self._pipe = pipe
        self._now_s = 0.0
        self._call("wait", 0.0)

    def write(self, data: bytes) -> None:
        self._call("write", data)

    def read(self, timeout_s: float) -> bytes:
        return bytes(self._call("read", timeout_s))

    def now_s(self) -> float:
        return self._now_s

    def wait(self, seconds: float) -> None:
        self._call("wait", seconds)

    def reopen(self) -> bool:
        return bool(self._call("reopen", None))

    def close(self) -> None:
        """The pipe closes with the process."""

    def _call(self, name: str, argument: Any) -> Any:
        self._pipe.send((name, argument))
        how, result, self._now_s = self._pipe.recv()
        if how == "lost":
            raise PortLost(result)
        return result


def _host(
    words: list[str], folder: Path, pipe: Connection, out: Connection, err: Connection, faults: Faults
) -> None:
    """In the new process: the command line as it is, but for the port and the faults."""
    os.chdir(folder)
    os.dup2(out.fileno(), 1)
    os.dup2(err.fileno(), 2)
    sys.stdout, sys.stderr = os.fdopen(1, "w", closefd=False), os.fdopen(2, "w", closefd=False)
    os.environ["XDG_CACHE_HOME"] = os.environ["XDG_DATA_HOME"] = str(folder / "home")
    sys.argv = ["coincide", *words]
    with ExitStack() as patches:
        patches.enter_context(patch.object(ports, "SerialPort", lambda name: PipedPort(name, pipe)))
        patches.enter_context(patch.object(acknowledge, "require_acknowledgement", lambda: None))
        _break(faults, patches)
        try:
            main()
        finally:
            sys.stdout.flush()
            sys.stderr.flush()


def _break(faults: Faults, patches: ExitStack) -> None:
    if faults.killed_at_disk_call is not None:
        _die_at(faults.killed_at_disk_call)
    if faults.largest_file_bytes is not None:
        import resource  # POSIX has it; the tests that come here are skipped elsewhere

        resource.setrlimit(resource.RLIMIT_FSIZE, (faults.largest_file_bytes,) * 2)
    if faults.no_room_for is not None:
        no_room_for, write_through = faults.no_room_for, durable._write_through

        def full(path: Path, content: bytes) -> None:
            if no_room_for in path.name:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            write_through(path, content)

        patches.enter_context(patch.object(durable, "_write_through", full))
    if faults.clock is not None:
        started = datetime.fromisoformat(faults.clock)

        class SetBack(datetime):
            @classmethod
            def now(cls, tz: tzinfo | None = None) -> SetBack:
                return cls.fromtimestamp(started.timestamp(), tz)

        for module in (calibration, firing):
            patches.enter_context(patch.object(module, "datetime", SetBack))
    if faults.without_rights and os.geteuid() == 0:
        os.setuid(NOBODY)


def _die_at(call: int) -> None:
    left = [call]

    def dying(really: Callable[..., Any], name: str) -> Callable[..., Any]:
        def instead(*arguments: Any, **named: Any) -> Any:
            left[0] -= 1
            if left[0] == 0:
                if name == "write":
                    really(arguments[0], arguments[1][: len(arguments[1]) // 2])
                os.kill(os.getpid(), signal.SIGKILL)
            return really(*arguments, **named)

        return instead

    for name in DISK_CALLS:
        setattr(os, name, dying(getattr(os, name), name))


def sessions_in(folder: Path) -> dict[Path, Session]:
    """Every session in a folder, those left out that were cut off inside their first line."""
    paths = [path for path in sorted(folder.rglob("*.jsonl")) if b"\n" in path.read_bytes()]
    return {path: read_session(path) for path in paths}


def ticks_on_disk(folder: Path) -> set[int]:
    """Every tick of every edge that the files of a folder hold, as a pair or as something left over."""
    found: set[int] = set()
    for session in sessions_in(folder).values():
        found.update(np.unique(session.edges.tick).tolist())
        for remark in session.remarks:
            if remark.kind == "left over":
                found.update(remark.detail["tick"])
    return found
