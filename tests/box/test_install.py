"""Installing: exactly our files, proved by hash, on a board that is played by a stand-in transport."""

from __future__ import annotations

import hashlib
from collections import namedtuple
from collections.abc import Callable
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest
from mpremote.transport import TransportError

import coincide_firmware
from coincide.box.cable.answers import BoxIdentity
from coincide.box.cable.ports import Port
from coincide.box.firmware import NOT_ON_A_BOARD, board_files, compiled_files
from coincide.box.install import (
    InstallOutcome,
    Progress,
    install_to_directory,
    reach_rescue_mode,
    started_box,
)
from coincide.box.install import install as install_and_ask
from coincide.box.simulated.port import SimulatedPort, open_simulated
from coincide.errors import BadInput, BoxFailed
from coincide_firmware.app import messages
from coincide_firmware.app.wire import encode

Entry = namedtuple("Entry", ["name"])


ANOTHER_FORMAT = 5  # of compiled files than this computer's compiler writes: source is installed
THIS_FORMAT = 0x306


def identity() -> BoxIdentity:
    return BoxIdentity(
        1, "0", 3, 125_000_000, (), "00", "Pico", False, "restart", True, (), {}, crash=False, raw={}
    )


def install(port: str, **options: Any) -> InstallOutcome:
    """Onto a board whose box answers at once."""
    return install_and_ask(port, **{"ask": lambda _: (identity(), None), **options})


class StandIn:
    """mpremote's transport with a board's file system behind it; each failure of interest can be switched on."""

    def __init__(self, files: dict[str, bytes] | None = None, version: tuple[int, ...] = (1, 28, 0)) -> None:
        self.files = dict(files or {})
        self.directories = {name.partition("/")[0] for name in self.files if "/" in name}
        self.version = version
        self.platform = "rp2"
        self.mpy = ANOTHER_FORMAT
        self.reachable = True
        self.dies_at: str | None = None
        self.corrupts: str | None = None
        self.log: list[str] = []
        self.ran: list[str] = []
        self.closed = False

    def enter_raw_repl(self, soft_reset: bool = True, timeout_overall: int = 10) -> None:
        if not self.reachable:
            print("noise")
            raise TransportError("could not enter raw repl")

    def exit_raw_repl(self) -> None:
        return

    def eval(self, expression: str, parse: bool = True) -> Any:
        return self.platform, self.version, self.mpy

    def exec_raw_no_follow(self, command: str) -> None:
        self.ran.append(command)

    def fs_exists(self, src: str) -> bool:
        return src in self.files or src in self.directories

    def fs_listdir(self, src: str = "") -> list[Any]:
        return [Entry(name.partition("/")[2]) for name in self.files if name.startswith(src + "/")]

    def fs_mkdir(self, path: str) -> None:
        self.directories.add(path)

    def fs_rmfile(self, path: str) -> None:
        self.log.append("remove " + path)
        del self.files[path]

    def fs_writefile(
        self,
        dest: str,
        data: bytes,
        chunk_size: int = 256,
        progress_callback: Callable[[int, int], None] | None = None,
    ) -> None:
        if dest == self.dies_at:
            raise OSError(5, "the cable was pulled")
        if progress_callback:
            progress_callback(len(data) // 2, len(data))
            progress_callback(len(data), len(data))
        self.log.append("write " + dest)
        self.files[dest] = data[:-1] if dest == self.corrupts else data

    def fs_hashfile(self, path: str, algo: str, chunk_size: int = 256) -> bytes:
        return hashlib.new(algo, self.files[path]).digest()

    def close(self) -> None:
        self.closed = True


def test_exactly_the_files_of_the_firmware_that_belong_on_a_board() -> None:
    root = Path(coincide_firmware.__path__[0])
    names = set(board_files())
    on_disk = {str(file.relative_to(root)) for file in root.rglob("*.py") if file != root / "__init__.py"}
    assert names == on_disk - set(NOT_ON_A_BOARD)
    assert {"boot.py", "main.py", "app/wire.py", "board/sampler.py", "app/__init__.py"} <= names
    assert list(board_files())[-1] == "main.py"


def test_fresh_board_gets_every_file_and_starts() -> None:
    board = StandIn()
    outcome = install("port", transport=lambda _: board)
    assert board.files == board_files()
    assert outcome.written == outcome.files == len(board_files())
    assert outcome.micropython == "1.28.0"
    assert board.ran == ["import machine\nmachine.reset()"]
    assert board.closed


def test_compiled_for_an_interpreter_that_reads_this_computers_format() -> None:
    board = StandIn({**board_files(), "data/settings.0": b"mine"})
    board.mpy = THIS_FORMAT
    outcome = install("port", transport=lambda _: board)
    assert outcome.compiled
    expected = compiled_files(THIS_FORMAT)
    assert expected is not None
    assert board.files == {**expected, "data/settings.0": b"mine"}
    # An interpreter prefers source: none of it may stay.
    assert [name for name in board.files if name.endswith(".py")] == ["boot.py", "main.py"]
    assert set(outcome.removed) == {name for name in board_files() if "/" in name}
    assert sum(map(len, expected.values())) < 60_000
    assert board.log[0] != "write main.py"
    # And back: to a board whose interpreter was changed for another.
    board.mpy = ANOTHER_FORMAT
    assert not install("port", transport=lambda _: board).compiled
    assert board.files == {**board_files(), "data/settings.0": b"mine"}


def test_compiled_files_carry_the_version_their_interpreter_asks_for() -> None:
    files = compiled_files(THIS_FORMAT)
    assert files is not None
    for name, content in files.items():
        if name.endswith(".mpy"):
            # By MicroPython's documentation of the format: 'M', version, flags and native architecture, bits of an int.
            assert content[:4] == bytes((ord("M"), THIS_FORMAT & 0xFF, 0, 31)), name
    assert compiled_files(ANOTHER_FORMAT) is None
    assert compiled_files(0) is None


def test_a_box_that_does_not_answer_after_its_restart_is_no_success() -> None:
    def silent(port: str) -> tuple[BoxIdentity, None]:
        raise BoxFailed("the box does not answer after its restart")

    with pytest.raises(BoxFailed, match="does not answer after its restart"):
        install("port", transport=lambda _: StandIn(), ask=silent)


def test_the_crash_record_is_read_after_the_restart() -> None:
    plugged = Plugged()
    plugged.ask("identify")
    who, crash = started_box("/dev/ttyACM0", plugged.open)
    assert who.simulated
    assert crash is None
    box = plugged.port.machine._box
    assert box is not None
    box.crash.note(2, 17, "main loop", "MemoryError")
    who, crash = started_box("/dev/ttyACM0", plugged.open)
    assert crash == {"boot": 2, "ms": 17, "doing": "main loop", "text": "MemoryError"}


def test_no_port_after_the_restart_is_said() -> None:
    with pytest.raises(BoxFailed, match=r"verified, but the box does not answer.*/dev/nowhere"):
        started_box("/dev/nowhere", within_s=0.0)


def test_second_installation_writes_nothing() -> None:
    board = StandIn(board_files())
    assert install("port", transport=lambda _: board).written == 0
    assert board.log == []


def test_update_removes_main_first_and_writes_it_last_and_keeps_the_boxs_own_data() -> None:
    old = {
        **board_files(),
        "app/wire.py": b"old",
        "app/gone.py": b"x",
        "data/settings.0": b"mine",
        "notes.txt": b"n",
    }
    board = StandIn(old)
    outcome = install("port", transport=lambda _: board)
    assert board.log[0] == "remove main.py"
    assert board.log[-1] == "write main.py"
    assert outcome.written == 2
    assert outcome.removed == ("app/gone.py",)
    assert board.files["data/settings.0"] == b"mine"
    assert board.files["notes.txt"] == b"n"


def test_progress_rises_to_all_bytes() -> None:
    seen: list[Progress] = []
    install("port", progress=seen.append, transport=lambda _: StandIn())
    done = [step.bytes_done for step in seen]
    assert done == sorted(done)
    assert seen[-1].bytes_done == seen[-1].bytes_all == sum(map(len, board_files().values()))
    assert seen[-1].number == seen[-1].files


@pytest.mark.parametrize("version", [(1, 23, 0), (1, 9, 4), (0, 99, 0)])
def test_unsupported_micropython_is_refused_before_anything_is_written(version: tuple[int, ...]) -> None:
    board = StandIn(version=version)
    with pytest.raises(BoxFailed, match=r"needs 1\.24 or newer.*BOOTSEL"):
        install("port", transport=lambda _: board)
    assert board.log == []
    assert board.closed


def test_another_chip_is_refused() -> None:
    board = StandIn()
    board.platform = "esp32"
    with pytest.raises(BoxFailed, match="no RP2040 or RP2350"):
        install("port", transport=lambda _: board)


def test_running_box_that_ignores_the_interrupt_is_explained(capsys: pytest.CaptureFixture[str]) -> None:
    board = StandIn()
    board.reachable = False
    with pytest.raises(BoxFailed, match="hold its 'preset' button"):
        install("port", transport=lambda _: board)
    assert capsys.readouterr().out == ""


def test_torn_installation_says_so_and_leaves_nothing_that_starts() -> None:
    board = StandIn({**board_files(), "app/wire.py": b"old"})
    board.dies_at = "app/wire.py"
    with pytest.raises(BoxFailed, match=r"cut short \(.*cable was pulled\).*repeat"):
        install("port", transport=lambda _: board)
    assert "main.py" not in board.files


def test_file_that_arrives_changed_is_caught_by_its_hash() -> None:
    board = StandIn()
    board.corrupts = "board/sampler.py"
    with pytest.raises(BoxFailed, match=r"board/sampler\.py did not arrive whole"):
        install("port", transport=lambda _: board)
    assert "main.py" not in board.files


def test_missing_port_is_one_sentence() -> None:
    with pytest.raises(BoxFailed, match=r"/dev/nowhere cannot be opened"):
        install("/dev/nowhere")


def test_to_a_directory(tmp_path: Path) -> None:
    steps: list[Progress] = []
    outcome = install_to_directory(tmp_path / "out", steps.append)
    found = {
        str(file.relative_to(tmp_path / "out")): file.read_bytes()
        for file in (tmp_path / "out").rglob("*")
        if file.is_file()
    }
    assert found == board_files()
    assert outcome.files == len(found) == len(steps)


def test_to_a_directory_that_cannot_be(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(BadInput, match="Choose another folder"):
        install_to_directory(tmp_path / "file")


class Plugged:
    """A simulated box on a cable: every opening of its port is the same box; `names` it gets one after another."""

    def __init__(self, *names: str) -> None:
        self.port: SimulatedPort = open_simulated("ennerby fen")
        self.names = list(names or ["/dev/ttyACM0"])
        self.opened = 0
        self.port.name = self.names.pop(0)

    def open(self, name: str) -> Port:
        if name != self.port.name:
            raise BoxFailed(f"There is no port {name}.")
        self.opened += 1
        self.port.reopen()
        plain = self.port.reopen

        def reopen() -> bool:
            back = plain()
            if back and self.names:
                self.port.name = self.names.pop(0)
            return back

        self.port.reopen = reopen  # type: ignore[method-assign]
        return self.port

    def running(self) -> bool:
        return self.port.machine._box is not None

    def ask(self, verb: str, **fields: object) -> None:
        """A request of another program, before ours."""
        self.port.write(b"\n" + encode({"id": 7, "do": verb, **fields}))
        self.port.wait(0.3)


def test_running_box_is_sent_into_rescue_mode_and_found_under_its_new_name() -> None:
    plugged = Plugged("/dev/ttyACM0", "/dev/ttyACM1")
    assert plugged.running()
    assert reach_rescue_mode("/dev/ttyACM0", plugged.open) == "/dev/ttyACM1"
    assert not plugged.running()
    # And the start after that is an ordinary one.
    plugged.port.machine.reset("power")
    plugged.port.wait(5.0)
    assert plugged.running()


def test_installation_updates_a_running_box_by_itself() -> None:
    plugged = Plugged()
    board = StandIn({**board_files(), "app/wire.py": b"old"})

    def transport(port: str) -> StandIn:
        board.reachable = not plugged.running()
        return board

    outcome = install(
        "/dev/ttyACM0", transport=transport, rescue=lambda port: reach_rescue_mode(port, plugged.open)
    )
    assert board.files == board_files()
    assert outcome.written == 2
    assert board.ran == ["import machine\nmachine.reset()"]


def test_new_board_is_left_as_it_is_and_gets_its_files() -> None:
    plugged = Plugged()
    plugged.port.machine.reset("rescue")  # nothing of ours answers
    plugged.port.wait(5.0)
    board = StandIn()
    install(
        "/dev/ttyACM0", transport=lambda _: board, rescue=lambda port: reach_rescue_mode(port, plugged.open)
    )
    assert board.files == board_files()


def test_armed_box_is_not_restarted_and_the_sentence_says_why() -> None:
    plugged = Plugged()
    plugged.ask("arm", timeout_ms=20_000)
    with pytest.raises(BoxFailed, match="cannot be updated now: The box is armed"):
        reach_rescue_mode("/dev/ttyACM0", plugged.open)
    assert plugged.running()


def test_pair_that_no_session_has_is_not_thrown_away() -> None:
    plugged = Plugged()
    plugged.ask("arm", timeout_ms=5_000)
    plugged.ask("fire", shot=1, window_ns=300_000_000)
    plugged.port.wait(3.0)
    plugged.ask("disarm")
    with pytest.raises(BoxFailed, match="holds a pair that no session has"):
        reach_rescue_mode("/dev/ttyACM0", plugged.open)
    assert plugged.running()


def test_older_firmware_without_the_request_is_explained() -> None:
    older = {verb: fields for verb, fields in messages.REQUESTS.items() if verb != "rescue"}
    # The whole table is put back as it was: a page lists the requests in its order.
    with patch.dict(messages.REQUESTS, older, clear=True):
        plugged = Plugged()
        with pytest.raises(
            BoxFailed, match="too old to be updated while it runs: unplug the box, hold its 'preset'"
        ):
            reach_rescue_mode("/dev/ttyACM0", plugged.open)


def test_box_that_does_not_come_back_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    plugged = Plugged()
    monkeypatch.setattr(plugged.port.machine, "_boot", lambda cause: None)
    with pytest.raises(BoxFailed, match="has not come back on /dev/ttyACM0"):
        reach_rescue_mode("/dev/ttyACM0", plugged.open)


class Flood:
    """A port on which something talks without a pause; `stops`: what a Ctrl-C ends."""

    name = "/dev/ttyUSB9"

    def __init__(self, *, stops: bool) -> None:
        self._stops, self._talks, self._s = stops, True, 0.0

    def write(self, data: bytes) -> None:
        self._talks = self._talks and not (self._stops and b"\x03" in data)

    def read(self, timeout_s: float) -> bytes:
        self._s += 0.001 if self._talks else timeout_s
        assert self._s < 60.0, "it goes on for ever"
        return b"12.5 lux 12.5 lux\n" if self._talks else b""

    def now_s(self) -> float:
        return self._s

    def wait(self, seconds: float) -> None:
        self._s += seconds

    def reopen(self) -> bool:
        return True

    def close(self) -> None:
        pass


def test_a_port_that_floods_is_refused_before_the_installer_reads_on_for_ever() -> None:
    with pytest.raises(BoxFailed, match="talks without a pause"):
        reach_rescue_mode("/dev/ttyUSB9", lambda _: Flood(stops=False))
    # A program of the board's owner that prints and prints stops at a Ctrl-C.
    assert reach_rescue_mode("/dev/ttyUSB9", lambda _: Flood(stops=True)) == "/dev/ttyUSB9"
