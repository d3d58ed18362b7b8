"""The session file keeps what was written to it, whatever happens to the run or to the file."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import orjson
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coincide.errors import BadInput
from coincide.session.file import SessionWriter, read_session
from coincide.session.lines import header_line, remark_line, shot_line
from coincide.session.model import Plan, Remark, Session, ShotRecord
from tests.session.sessions import AT, HEADER, pulse, record, write

PAIRS = [
    record(1, pulse("full_a", 0.3, 0.45) + pulse("sync_a", 0.36, 0.37), at_s=1.0),
    record(2, pulse("full_a", 0.3, 0.45), at_s=4.0, plan=Plan(delay_b_ns=2_000_000), lost=3),
    record(3, [], at_s=9.0, plan=None),
]


def edges_of(session: Session, row: int) -> list[tuple[int, int, int]]:
    mine = session.edges.row == row
    columns = session.edges.channel[mine], session.edges.level[mine], session.edges.tick[mine]
    return list(zip(*(column.tolist() for column in columns), strict=True))


def assert_one_sentence(message: str, *names: str) -> None:
    assert message.endswith(".")
    assert "\n" not in message
    assert "Traceback" not in message
    for name in names:
        assert name in message


def test_what_is_written_is_read(tmp_path: Path) -> None:
    remark = Remark(AT, "fault", "The interlock was opened.", {"code": "interlock"})
    session = read_session(write(tmp_path / "s.jsonl", PAIRS, remarks=[remark]))
    assert session.header == HEADER
    assert session.shot.tolist() == [1, 2, 3]
    assert session.lost.tolist() == [0, 3, 0]
    assert session.plan_ns[1].tolist() == [0, 2_000_000, 300_000_000, 150_000_000, 1_000_000_000]
    assert session.plan_ns[2].tolist() == [-1] * 5
    for row, pair in enumerate(PAIRS):
        assert edges_of(session, row) == list(zip(pair.channel, pair.level, pair.tick, strict=True))
    assert session.remarks == (remark,)
    assert session.torn is None


def test_ticks_of_a_box_that_ran_for_years_stay_exact(tmp_path: Path) -> None:
    pair = record(1, pulse("full_a", 0.0, 0.1))
    late = ShotRecord(1, AT, None, pair.channel, pair.level, tuple(2**60 + tick for tick in pair.tick))
    session = read_session(write(tmp_path / "s.jsonl", [late]))
    assert session.edges.tick.tolist() == list(late.tick)


def test_an_existing_file_is_never_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "s.jsonl"
    path.write_text("precious")
    with pytest.raises(BadInput) as refusal:
        SessionWriter(path, HEADER)
    assert_one_sentence(str(refusal.value), str(path), "never overwritten")
    assert path.read_text() == "precious"


def test_two_runs_cannot_write_one_file(tmp_path: Path) -> None:
    path = tmp_path / "s.jsonl"
    with SessionWriter(path, HEADER) as writer:
        writer.append(PAIRS[0])
        with pytest.raises(BadInput, match="Another run is writing"):
            SessionWriter.resume(path)
        other = (
            "from coincide.session.file import SessionWriter; SessionWriter.resume(__import__('sys').argv[1])"
        )
        done = subprocess.run(
            [sys.executable, "-c", other, str(path)], capture_output=True, text=True, check=False
        )
        assert "Another run is writing" in done.stderr
        writer.append(PAIRS[1])
    with SessionWriter.resume(path) as writer:
        assert writer.last_shot == 2
        assert writer.found is None
        writer.append(PAIRS[2])
    assert read_session(path).shot.tolist() == [1, 2, 3]


def test_reading_while_another_run_writes(tmp_path: Path) -> None:
    with SessionWriter(tmp_path / "s.jsonl", HEADER) as writer:
        for count, pair in enumerate(PAIRS, 1):
            writer.append(pair)
            assert len(read_session(writer.path).shot) == count


def test_each_pair_is_forced_to_disk_before_append_returns(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sizes: list[int] = []
    fsync = os.fsync

    def noting(descriptor: int) -> None:
        sizes.append(os.fstat(descriptor).st_size)
        fsync(descriptor)

    with SessionWriter(tmp_path / "s.jsonl", HEADER) as writer:
        monkeypatch.setattr(os, "fsync", noting)
        for pair in PAIRS:
            writer.append(pair)
    expected = np.cumsum([len(header_line(HEADER)), *(len(shot_line(pair)) for pair in PAIRS)])
    assert sizes == expected[1:].tolist()


def test_a_full_disk_costs_the_pair_but_not_the_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "s.jsonl"
    write_really = os.write
    with SessionWriter(path, HEADER) as writer:
        writer.append(PAIRS[0])

        def half_then_full(descriptor: int, data: bytes) -> int:
            if len(data) > 20:
                return write_really(descriptor, data[:20])
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        with monkeypatch.context() as patch:
            patch.setattr(os, "write", half_then_full)
            with pytest.raises(BadInput) as refusal:
                writer.append(PAIRS[1])
        assert_one_sentence(str(refusal.value), str(path), "No space left")
        writer.append(PAIRS[1])
    session = read_session(path)
    assert session.shot.tolist() == [1, 2]
    assert [remark.detail for remark in session.remarks] == [{"line": 3}]


def test_a_torn_last_line_is_reported_skipped_and_kept(tmp_path: Path) -> None:
    path = write(tmp_path / "s.jsonl", PAIRS)
    whole = path.read_bytes()
    path.write_bytes(whole[:-20])
    session = read_session(path)
    assert session.torn == 4
    assert session.shot.tolist() == [1, 2]
    with SessionWriter.resume(path) as writer:
        assert writer.last_shot == 2
        assert writer.found is not None
        assert_one_sentence(writer.found, "Line 4", "cut short")
        writer.append(PAIRS[2])
    assert path.read_bytes().startswith(whole[:-20] + b"\n")
    again = read_session(path)
    assert again.torn is None
    assert again.shot.tolist() == [1, 2, 3]
    assert [remark.kind for remark in again.remarks] == ["damaged line", "resumed"]


def test_a_last_line_that_lacks_only_its_end_is_whole(tmp_path: Path) -> None:
    path = write(tmp_path / "s.jsonl", PAIRS)
    path.write_bytes(path.read_bytes()[:-1])
    with SessionWriter.resume(path) as writer:
        assert writer.found is None
        assert writer.last_shot == 3
        writer.append(record(4, []))
    assert read_session(path).shot.tolist() == [1, 2, 3, 4]


def test_resuming_what_does_not_exist_makes_nothing(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="does not exist"):
        SessionWriter.resume(tmp_path / "s.jsonl")
    assert list(tmp_path.iterdir()) == []


def test_a_new_file_needs_its_folder(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="does not exist"):
        SessionWriter(tmp_path / "nowhere" / "s.jsonl", HEADER)


def test_a_closed_writer_refuses(tmp_path: Path) -> None:
    writer = SessionWriter(tmp_path / "s.jsonl", HEADER)
    writer.close()
    writer.close()
    with pytest.raises(ValueError, match="closed"):
        writer.append(PAIRS[0])


DAMAGED = [
    b'{"shot":2,"at":"","plan":null,"lost":0,"start":5,"edges":[1,0,',
    b'{"shot":2,"at":"","plan":null,"lost":0,"start":5,"edges":[1]}',
    b'{"shot":2,"at":"","plan":null,"lost":0,"start":5,"edges":[99,0]}',
    b'{"shot":2,"at":"","plan":null,"lost":0,"start":5,"edges":[1,0.5]}',
    b'{"shot":2,"at":"","plan":null,"lost":0,"start":5,"edges":[1,"0"]}',
    b'{"shot":2,"at":"","plan":null,"lost":0,"start":5,"edges":[[1,0]]}',
    b'{"shot":2,"at":"","plan":null,"lost":0,"start":5,"edges":"ab"}',
    b'{"shot":2,"at":"","plan":null,"lost":0,"start":5,"edges":null}',
    b'{"shot":2,"at":"","plan":null,"lost":0,"start":-5,"edges":[]}',
    b'{"shot":2,"at":"","plan":null,"lost":0,"start":9223372036854775807,"edges":[1,9]}',
    b'{"shot":2,"at":"","plan":null,"lost":0,"start":18446744073709551615,"edges":[1,9]}',
    b'{"shot":2,"at":"","plan":{"delay_a_ns":1},"lost":0,"start":5,"edges":[]}',
    b'{"shot":2,"at":"","plan":[0,0,0,0,0],"lost":0,"start":5,"edges":[]}',
    b'{"shot":null,"at":"","plan":null,"lost":0,"start":5,"edges":[]}',
    b'{"shot":"two","at":"","plan":null,"lost":0,"start":5,"edges":[]}',
    b'{"shot":2}',
    b'{"other":2}',
    b'["shot"]',
    b'"shot"',
    b'"remark"',
    b"7",
    b"null",
    b"\x00\xff\xfe",
]


@pytest.mark.parametrize("damaged", DAMAGED)
def test_a_damaged_line_in_the_middle_is_named_and_skipped(tmp_path: Path, damaged: bytes) -> None:
    path = tmp_path / "s.jsonl"
    content = header_line(HEADER) + shot_line(PAIRS[0]) + damaged + b"\n\n" + shot_line(PAIRS[1])
    path.write_bytes(content)
    session = read_session(path)
    assert session.shot.tolist() == [1, 2]
    assert [(remark.kind, remark.detail) for remark in session.remarks] == [("damaged line", {"line": 3})]
    assert_one_sentence(session.remarks[0].say, "Line 3", "skipped")
    assert session.torn is None
    assert path.read_bytes() == content


def test_a_remark_of_odd_shape_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "s.jsonl"
    path.write_bytes(header_line(HEADER) + b'{"remark":"note","detail":[1]}\n')
    assert read_session(path).remarks == (Remark("", "note", "", {"value": [1]}),)


def test_a_pair_sent_twice_counts_once(tmp_path: Path) -> None:
    other = record(2, pulse("full_b", 0.3, 0.4), at_s=6.0)
    session = read_session(write(tmp_path / "s.jsonl", [PAIRS[0], PAIRS[1], PAIRS[1], other, PAIRS[2]]))
    assert session.shot.tolist() == [1, 2, 2, 3]
    assert edges_of(session, 2) == list(zip(other.channel, other.level, other.tick, strict=True))
    assert [remark.kind for remark in session.remarks] == ["repeats", "numbers used twice"]


def test_edges_out_of_order_are_put_in_order_and_said(tmp_path: Path) -> None:
    pair = PAIRS[0]
    swapped = ShotRecord(1, AT, pair.plan, pair.channel[::-1], pair.level[::-1], pair.tick[::-1])
    session = read_session(write(tmp_path / "s.jsonl", [swapped, PAIRS[1]]))
    assert edges_of(session, 0) == list(zip(pair.channel, pair.level, pair.tick, strict=True))
    assert [remark.kind for remark in session.remarks] == ["edges out of order"]


def not_sessions() -> list[tuple[str, bytes, str]]:
    header = orjson.loads(header_line(HEADER))

    def changed(**changes: object) -> bytes:
        return orjson.dumps({**header, **changes}) + b"\n"

    return [
        ("empty", b"", "is empty"),
        ("only newlines", b"\n\n", "not a session"),
        ("text", b"hello\nthere\n", "not a session"),
        ("another format", b'{"format":"other","version":1}\n', "not a session"),
        ("json of another kind", b"[1,2]\n", "not a session"),
        ("an image", b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 40, "not a session"),
        ("later", changed(version=2), "update coincide"),
        (
            "later still, with nothing else known",
            b'{"format":"coincide-session","version":40}\n',
            "update coincide",
        ),
        ("version as text", changed(version="1"), "'version'"),
        ("version true", changed(version=True), "'version'"),
        ("tick_hz 0", changed(tick_hz=0), "'tick_hz'"),
        ("tick_hz text", changed(tick_hz="fast"), "'tick_hz'"),
        ("purpose", changed(purpose="fun"), "'purpose'"),
        ("channels", changed(channels=["a", "a"]), "'channels'"),
        ("channels none", changed(channels=[]), "'channels'"),
        ("exposures", changed(exposures=["1/60"]), "'exposures'"),
        ("box", changed(box=None), "'box'"),
        ("rig", changed(rig_toml=None), "'rig_toml'"),
        ("created", changed(created=3), "'created'"),
        ("preset", changed(preset=3), "'preset'"),
        ("interval", changed(interval_s="2 s"), "'interval_s'"),
        ("confirmed", changed(confirmed=[1]), "'confirmed'"),
        ("header cut", header_line(HEADER)[:80], "breaks off"),
    ]


@pytest.mark.parametrize(("content", "says"), [case[1:] for case in not_sessions()])
def test_what_is_not_a_session_gives_one_sentence(tmp_path: Path, content: bytes, says: str) -> None:
    path = tmp_path / "s.jsonl"
    path.write_bytes(content)
    for reader in (read_session, SessionWriter.resume):
        with pytest.raises(BadInput) as refusal:
            reader(path)
        assert_one_sentence(str(refusal.value), str(path), says)
        assert path.read_bytes() == content


def test_folders_and_missing_files(tmp_path: Path) -> None:
    for path, says in ((tmp_path, "is a folder"), (tmp_path / "none.jsonl", "does not exist")):
        with pytest.raises(BadInput) as refusal:
            read_session(path)
        assert_one_sentence(str(refusal.value), str(path), says)
    with pytest.raises(BadInput) as refusal:
        read_session("a\0b")
    assert_one_sentence(str(refusal.value))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(BadInput, match="not an ordinary file"):
        read_session(tmp_path / "pipe")


def test_a_session_that_says_it_lasted_for_centuries_takes_no_more_pairs(tmp_path: Path) -> None:
    late = ShotRecord(1, AT, None, (1,), (1,), (2**60 + 1,))
    path = write(tmp_path / "s.jsonl", [late])
    assert read_session(path).shot.tolist() == [1]
    with pytest.raises(BadInput) as refusal:
        SessionWriter.resume(path)
    assert_one_sentence(str(refusal.value), str(path), "another file")


def test_a_huge_line_is_refused_early(tmp_path: Path) -> None:
    path = tmp_path / "s.jsonl"
    path.write_bytes(header_line(HEADER))
    os.truncate(path, 1 << 32)  # sparse: four GiB of zeros without a newline
    with pytest.raises(BadInput) as refusal:
        read_session(path)
    assert_one_sentence(str(refusal.value), str(path), "longer than 16 MiB")


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    path = tmp_path_factory.mktemp("sample") / "s.jsonl"
    pairs = [record(n, pulse("full_a", 0.3, 0.45) + pulse("sync_b", 0.4, 0.41), at_s=n) for n in range(1, 9)]
    return write(path, pairs, remarks=[Remark(AT, "note", "wind from the west")]).read_bytes()


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_cut_anywhere_it_gives_what_was_whole(
    tmp_path_factory: pytest.TempPathFactory, sample: bytes, data: st.DataObject
) -> None:
    cut = data.draw(st.integers(0, len(sample)))
    path = tmp_path_factory.getbasetemp() / "cut.jsonl"
    path.write_bytes(sample[:cut])
    header_end = sample.index(b"\n")
    if cut < header_end:
        with pytest.raises(BadInput) as refusal:
            read_session(path)
        assert_one_sentence(str(refusal.value), str(path))
        return
    session = read_session(path)
    whole = sample[:cut].count(b"\n") - 1
    ends_whole = cut == len(sample) or sample[cut : cut + 1] == b"\n"
    expected = min(
        8, whole + (1 if ends_whole and cut > header_end and sample[cut - 1 : cut] != b"\n" else 0)
    )
    assert session.shot.tolist() == list(range(1, max(expected, 0) + 1))
    torn = not ends_whole and sample[cut - 1 : cut] != b"\n"
    assert (session.torn is not None) == torn
    assert path.read_bytes() == sample[:cut]


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_damage_anywhere_never_gives_a_traceback(
    tmp_path_factory: pytest.TempPathFactory, sample: bytes, data: st.DataObject
) -> None:
    at = data.draw(st.integers(0, len(sample)))
    content = sample[:at] + data.draw(st.binary(max_size=40)) + sample[at + data.draw(st.integers(0, 40)) :]
    path = tmp_path_factory.getbasetemp() / "damaged.jsonl"
    path.write_bytes(content)
    try:
        session = read_session(path)
    except BadInput as refusal:
        assert_one_sentence(str(refusal), str(path))
    else:
        assert len(session.shot) == len(session.lost) == len(session.plan_ns) <= 9
    assert path.read_bytes() == content


@settings(max_examples=100, deadline=None)
@given(content=st.binary(max_size=300))
def test_random_bytes_are_not_a_session(tmp_path_factory: pytest.TempPathFactory, content: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "random.jsonl"
    path.write_bytes(content)
    with pytest.raises(BadInput) as refusal:
        read_session(path)
    assert_one_sentence(str(refusal.value), str(path))


def test_a_remark_may_carry_anything(tmp_path: Path) -> None:
    odd = Remark(AT, "fault", "odd", {"path": Path("x"), "number": np.int64(3), "time": float("nan")})
    assert orjson.loads(remark_line(odd))["detail"] == {"path": "x", "number": 3, "time": None}
