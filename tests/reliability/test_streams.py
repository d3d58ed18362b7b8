"""Standard streams, signals and terminals that are not what a command expects: a sentence or nothing, no traceback."""

from __future__ import annotations

import csv
import io
import os
import pty
import signal
import subprocess
import sys
import threading
from pathlib import Path

import click
import pytest

from coincide.bench.person import Question
from coincide.cli.terminal import show
from coincide.cli.terminal.enter import EnterKey
from coincide.cli.terminal.person import AtTerminal
from coincide.errors import BadInput, CoincideError
from coincide.rig.new import TEMPLATE
from coincide.session.file import read_session
from coincide.session.frames import Frame, read_frames, write_frames
from tests.cli.running import run

COINCIDE = (sys.executable, "-m", "coincide")
NO_POSIX = pytest.mark.skipif(sys.platform == "win32", reason="this system has no such files")


def shell(line: str, folder: Path, **more: str) -> subprocess.CompletedProcess[str]:
    """A line of the shell, with `$C` for the command."""
    return subprocess.run(
        ["bash", "-o", "pipefail", "-c", line],
        cwd=folder,
        env={**os.environ, "C": " ".join(COINCIDE), **more},
        capture_output=True,
        text=True,
        errors="replace",
        timeout=60,
        check=False,
    )


@NO_POSIX
def test_a_closed_stream_is_an_empty_one_and_never_the_next_file(tmp_path: Path) -> None:
    """A file that is opened takes the lowest free number: what is printed would go into it."""
    ran = shell("$C rig new rig.toml <&- >&- 2>&-", tmp_path)
    assert ran.returncode == 0
    assert (tmp_path / "rig.toml").read_text("utf-8") == TEMPLATE


@NO_POSIX
@pytest.mark.parametrize("more", ["", " --json"])
def test_output_that_takes_no_more_is_a_sentence(tmp_path: Path, more: str) -> None:
    ran = shell(f"$C wiring parts{more} > /dev/full", tmp_path)
    assert ran.returncode == 2
    assert ran.stderr == "coincide: No space left on device: make room or choose another folder.\n"


@NO_POSIX
@pytest.mark.parametrize("command", ["wiring parts", "wiring parts --json"])
def test_a_reader_that_leaves_is_no_failure(tmp_path: Path, command: str) -> None:
    # The reader has gone for certain before anything is printed.
    ran = shell(f"exec 3> >(exec true); wait $!; $C {command} >&3", tmp_path)
    assert (ran.returncode, ran.stderr) == (0, "")


@NO_POSIX
def test_a_window_system_of_another_program_is_none_of_ours(tmp_path: Path) -> None:
    said = "from coincide.cli.terminal.process import prepare; prepare(); import matplotlib"
    ran = shell(f"{sys.executable} -W error -c '{said}'", tmp_path, MPLBACKEND="nix")
    assert (ran.returncode, ran.stderr) == (0, "")


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize("columns", ["1", "2", "7", "0", "-3"])
def test_a_terminal_of_one_column_is_written_on(monkeypatch: pytest.MonkeyPatch, columns: str) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    monkeypatch.setattr(sys, "stdout", Terminal())
    monkeypatch.setattr(sys, "stderr", Terminal())
    sentence = "Bittern (B) exposes 20.0 ms after Lapwing (A)."
    show.say(sentence)
    show.aside(sentence)
    show.table(("pair, no.", "skew, ms"), [("1", "-20.00")])
    assert show.wrapped(sentence).split() == sentence.split()


def test_without_a_terminal_and_without_yes_the_answer_is_yes_please(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    person = AtTerminal()
    with pytest.raises(BadInput, match=r"Nobody is there to answer 'All done\?'.*Give --yes"):
        person.confirm(Question("All done?"))
    with pytest.raises(BadInput, match="Nobody is there to answer 'Which'"):
        person.ask("Which")
    monkeypatch.setattr(sys, "stdin", io.StringIO("y\nB\n"))
    assert person.confirm(Question("All done?"))
    assert person.ask("Which") == "B"


def test_ctrl_c_at_a_question_is_still_a_stop(monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(_: str = "") -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr("click.termui.visible_prompt_func", stopped)
    with pytest.raises(click.Abort):
        AtTerminal().confirm(Question("All done?"))


@pytest.mark.pty
@NO_POSIX
def test_one_ctrl_d_does_not_make_enter_deaf(monkeypatch: pytest.MonkeyPatch) -> None:
    hand, line = os.openpty()
    terminal = os.fdopen(line, encoding="utf-8")
    monkeypatch.setattr(sys, "stdin", terminal)
    before = set(threading.enumerate())
    key = EnterKey()
    assert not key.pressed()
    (listening,) = set(threading.enumerate()) - before
    os.write(hand, b"\x04")
    os.write(hand, b"\n")
    assert key._pressed.wait(20)
    assert key.pressed()
    assert not key.pressed()
    os.write(hand, b"\x04\x04\n")
    assert key._pressed.wait(20)
    os.close(hand)  # the terminal is closed: the one who listens goes too
    listening.join(20)
    assert not listening.is_alive()
    terminal.close()


@pytest.mark.pty
@NO_POSIX
def test_an_end_by_the_system_shows_the_cursor_again_and_keeps_the_pairs(tmp_path: Path) -> None:
    (tmp_path / "rig.toml").write_text(TEMPLATE, "utf-8")
    child, line = pty.fork()
    if child == 0:
        os.chdir(tmp_path)
        arguments = ["series", "-n", "5000", "--world", "steady", "--out", "s.jsonl"]
        os.execve(COINCIDE[0], [*COINCIDE, *arguments], {**os.environ, "TERM": "xterm"})
    seen, sent = b"", False
    try:
        while piece := os.read(line, 1 << 16):
            seen += piece
            if not sent and b"of 5000 pairs" in seen:
                os.kill(child, signal.SIGTERM)
                sent = True
    except OSError:
        pass  # what the system says of a terminal whose last program has gone
    os.waitpid(child, 0)
    os.close(line)
    assert sent
    assert seen.rfind(b"\x1b[?25h") > seen.rfind(b"\x1b[?25l") >= 0
    session = read_session(tmp_path / "s.jsonl")
    assert session.torn is None
    assert [remark.kind for remark in session.remarks].count("stopped") == 1


@NO_POSIX
def test_a_name_that_is_no_text_is_read_written_and_said(tmp_path: Path) -> None:
    (tmp_path / "rig.toml").write_text(TEMPLATE, "utf-8")
    name = os.fsdecode(b"evening-\xff.jsonl")
    try:
        (tmp_path / name).touch()
    except OSError:
        pytest.skip("this disk takes no such name")
    (tmp_path / name).unlink()
    ran = run(["series", "--world", "steady", "-n", "5", "--out", name, "--json"], tmp_path)
    assert ran.code == 0, ran.said
    assert "evening-?.jsonl" in ran.out


@pytest.mark.soak
@NO_POSIX
def test_a_page_of_a_session_whose_name_is_no_text(tmp_path: Path) -> None:
    (tmp_path / "rig.toml").write_text(TEMPLATE, "utf-8")
    name = os.fsdecode(b"evening-\xff.jsonl")
    for words in (["series", "-n", "5", "--world", "steady", "--out", name], ["report", name, "--json"]):
        ran = run(words, tmp_path)
        assert ran.code == 0, ran.said
    page = (tmp_path / os.fsdecode(b"evening-\xff.html")).read_text("utf-8")
    assert "evening-?.jsonl" in page


@pytest.mark.parametrize("length", [1600, 900_000])
def test_a_sentence_stays_one_whatever_it_quotes(tmp_path: Path, length: int) -> None:
    long = "x" * length
    assert len(str(BadInput(f"'{long}' is no number: write '1 ms'."))) < 1600
    assert str(CoincideError(f"{long}: write '1 ms'.")).endswith("write '1 ms'.")
    for words in (["ghost", "--scans", long], ["limits", "--jitter", long], [long], [f"--{long}"]):
        ran = run(words, tmp_path)
        assert ran.code == 2
        assert len(ran.said) < 2500


@NO_POSIX
@pytest.mark.parametrize(
    "words",
    [
        ["report", "pipe"],
        ["limits", "--rig", "pipe"],
        ["scans", "pipe", "pipe"],
        ["scans", "--roll", "pipe"],
        ["ghost", "--scans", "pipe", "--region", "1", "still", "4 m"],
        ["ghost", "--frames", "pipe", "--frame", "1", "--thing", "1 mm", "still", "4 m"],
        ["recording", "pipe"],
        ["recording", "pipe.vcd", "--channels", "D0=gate_a1"],
    ],
    ids=lambda words: " ".join(words[:2]),
)
def test_a_pipe_nobody_writes_into_is_refused_and_not_waited_for(tmp_path: Path, words: list[str]) -> None:
    (tmp_path / "rig.toml").write_text(TEMPLATE, "utf-8")
    for name in ("pipe", "pipe.vcd", "fen-calibration-pipe.toml"):
        os.mkfifo(tmp_path / name)
    ran = run(words, tmp_path)
    assert ran.code == 2
    assert "pipe" in ran.said
    assert "\n" not in ran.err.strip()


def test_a_formula_in_a_frame_log_is_text_to_a_spreadsheet_and_itself_when_read_again(tmp_path: Path) -> None:
    nan = float("nan")
    presets = ["=1+1", "+1", "-1", "@x", "\tx", "\rx", "'x", "'", "1/60+1/30", "", "'=x", "x=1"]
    frames = tuple(
        Frame(None, place, 1, 2.0, preset, "within", -0.001, nan, nan, nan, nan, nan)
        for place, preset in enumerate(presets)
    )
    path = write_frames(tmp_path / "log.csv", frames)
    with path.open(newline="", encoding="utf-8") as file:
        cells = [row["preset"] for row in csv.DictReader(file)]
    assert not [cell for cell in cells if cell[:1] in tuple("=+-@\t\r")]
    assert [frame.preset for frame in read_frames(path)] == presets
