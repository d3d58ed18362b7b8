"""A box that lies: whole lines with right checksums, and nonsense in them. A result or a sentence, and it ends."""

from __future__ import annotations

import contextlib
from pathlib import Path
from random import Random
from typing import Any

import pytest

from coincide.box.cable.answers import FrameLogPage, identity_from
from coincide.box.cable.client import BoxClient
from coincide.box.conduct import run_series, watch
from coincide.box.framelog import read_framelog
from coincide.box.plans import SeriesPlan
from coincide.box.simulated.port import SimulatedPort, open_simulated
from coincide.errors import BoxFailed, CoincideError
from coincide.session.file import SessionWriter, read_session
from coincide_firmware.app.frame_words import FRAME_FIELDS
from coincide_firmware.app.wire import LineReader, encode
from tests.box.cable.lossy import Cable, LossyPort
from tests.box.campaign import PLAN
from tests.box.sinks import MemorySession, header_for

ODD: tuple[Any, ...] = (
    None,
    True,
    0,
    -1,
    1.5,
    2**31,
    2**63,
    -(2**63),
    10**30,
    float("inf"),
    float("nan"),
    "",
    "x" * 300,
    "\x1b[2J",
    "<script>",
    [],
    [[]],
    [1, 2, 3],
    {},
    {"a": {"b": []}},
)
READS_MOST = 60_000


class LyingPort(LossyPort):
    """Changes what the box says, now and then, and seals it anew; says nothing wrong before `from_line`."""

    def __init__(self, inner: SimulatedPort, seed: int, share: float, from_line: int) -> None:
        super().__init__(inner, Cable(), seed)
        self._lies = Random(f"lies {seed}")
        self._share = share
        self._from_line = from_line
        self._lines = LineReader()
        self._count = 0
        self._reads = 0
        self.told = 0

    def read(self, timeout_s: float) -> bytes:
        self._reads += 1
        assert self._reads < READS_MOST, "it goes on for ever"
        said = b""
        for record in self._lines.feed(self.inner.read(timeout_s)):
            if isinstance(record, dict):
                said += self._retold(record)
        return said

    def _retold(self, record: dict[str, Any]) -> bytes:
        self._count += 1
        if self._count > self._from_line and self._lies.random() < self._share:
            self.told += 1
            self._spoil(record)
        return bytes(encode(record))

    def _spoil(self, value: Any) -> None:
        """One thing, anywhere in it, becomes something odd, or is gone."""
        keys = list(value) if isinstance(value, dict) else list(range(len(value)))
        if not keys:
            return
        key = self._lies.choice(keys)
        below = value[key]
        if isinstance(below, dict | list) and below and self._lies.random() < 0.8:
            self._spoil(below)
        elif isinstance(value, dict) and self._lies.random() < 0.2:
            del value[key]
        else:
            value[key] = self._lies.choice(ODD)


def lied_to(seed: int, folder: Path) -> int:
    """A series, a watch or the reading of a log, with a box that lies; how many lies it told."""
    random = Random(seed)
    inner = open_simulated("twin cable" if seed % 3 == 1 else "steady", seed=seed)
    port = LyingPort(inner, seed, random.choice([0.01, 0.1, 0.5]), random.choice([0, 3, 6, 12]))
    path = folder / f"{seed}.jsonl"
    try:
        client = BoxClient(port)
        with SessionWriter(path, header_for(client)) as writer:
            if seed % 3 == 0:
                run_series(client, writer, SeriesPlan(4, PLAN, interval_s=0.8, box_patience_s=5.0))
            elif seed % 3 == 1:
                watch(client, writer, groups=4, quiet_s=20.0, box_patience_s=5.0)
            else:
                read_framelog(client)
                client.settings()
                client.preset(0)
                client.crash()
    except CoincideError as failed:
        said = str(failed)
        assert said.strip()
        assert "Traceback" not in said
    if path.exists():
        session = read_session(path)
        assert len(session.shot) <= 5
    inner.wait(30.0)
    assert inner.world.releases.closed_mask == 0
    return port.told


def test_a_box_that_lies_is_a_sentence_or_does_no_harm(tmp_path: Path) -> None:
    assert sum(lied_to(seed, tmp_path) for seed in range(45)) > 40


class OneLie(LossyPort):
    """Says one thing of one kind of event, or of one reply, otherwise than the box did."""

    def __init__(self, inner: SimulatedPort, kind: str, name: str, value: Any) -> None:
        super().__init__(inner, Cable(), 1)
        self._lie = (kind, name, value)
        self._lines = LineReader()

    def read(self, timeout_s: float) -> bytes:
        kind, name, value = self._lie
        said = b""
        for record in self._lines.feed(self.inner.read(timeout_s)):
            assert isinstance(record, dict)
            reply = record.get("ok")
            if record.get("is") == kind:
                record[name] = value
            elif kind == "reply" and isinstance(reply, dict) and name in reply:
                reply[name] = value
            said += encode(record)
        return said


@pytest.mark.parametrize(
    ("kind", "name", "value"),
    [
        ("edges", "base", 10**30),
        ("edges", "base", -1),
        ("edges", "base", 2**63),
        ("edges", "base", None),
        ("edges", "e", [99, 0]),
        ("edges", "e", [-2, 0]),
        ("edges", "e", [0, 10**30]),
        ("edges", "e", [0]),
        ("edges", "e", [True, 1]),
        ("edges", "e", {"0": 1}),
        ("shot", "shot", "one"),
        ("shot", "shot", {}),
        ("shot", "lost", 10**30),
        ("shot", "edges", None),
        ("shot", "stray", [1]),
        ("reply", "values", 7),
    ],
)
def test_each_lie_once_met_is_a_sentence(tmp_path: Path, kind: str, name: str, value: Any) -> None:
    inner = open_simulated("steady")
    path = tmp_path / "s.jsonl"
    plan = SeriesPlan(2, PLAN, interval_s=0.8)
    liar = BoxClient(OneLie(inner, kind, name, value))
    header = header_for(liar)
    with SessionWriter(path, header) as writer, pytest.raises(BoxFailed, match="box install"):
        run_series(liar, writer, plan)
    assert len(read_session(path).shot) == 0
    assert inner.world.releases.closed_mask == 0
    # Told rightly, the pair that was fired is there.
    with SessionWriter.resume(path, header) as writer:
        assert run_series(BoxClient(inner), writer, plan).complete
    assert read_session(path).shot.tolist() == [1, 2]
    assert len(inner.truth) == 2


def test_a_box_that_asks_for_an_age_of_patience_is_asked_again(tmp_path: Path) -> None:
    inner = open_simulated("steady")

    class Patient(OneLie):
        def read(self, timeout_s: float) -> bytes:
            said = b""
            for record in self._lines.feed(self.inner.read(timeout_s)):
                assert isinstance(record, dict)
                if "wait_ms" in record:
                    record["wait_ms"] = 10**12
                said += encode(record)
            return said

    client = BoxClient(Patient(inner, "", "", None))
    client.put_settings({"min_interval_ms": 3000})
    with SessionWriter(tmp_path / "s.jsonl", header_for(client)) as writer:
        assert run_series(client, writer, SeriesPlan(3, PLAN, interval_s=0.0)).complete
    assert inner.now_s() < 60.0


@pytest.mark.soak
def test_boxes_that_lie_in_thousands_of_ways(tmp_path: Path) -> None:
    told = sum(lied_to(seed, tmp_path) for seed in range(1000, 3000))
    assert told > 2000
    print(f"{told} lies of 2000 boxes")


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("tick_hz", 0),
        ("tick_hz", -125_000_000),
        ("tick_hz", 999),
        ("tick_hz", 10**13),
        ("tick_hz", True),
        ("tick_hz", 125e6),
        ("tick_hz", None),
        ("channels", []),
        ("channels", ["sync_a", "sync_a"]),
        ("channels", "sync_a"),
    ],
)
def test_what_no_box_can_be_is_refused(name: str, value: object) -> None:
    raw = BoxClient(open_simulated("steady")).identity.raw
    assert identity_from(raw).tick_hz == 125_000_000
    with pytest.raises(BoxFailed, match=name):
        identity_from(raw | {name: value})


class OddLog:
    """A box whose frame log holds what the test wants, said to be so many entries."""

    def __init__(self, entries: int, odd: dict[int, object]) -> None:
        self._entries, self._odd = entries, odd
        self.asked = 0

    def framelog(self, start: int, count: int) -> FrameLogPage:
        self.asked += 1
        assert self.asked < 50, "it goes on for ever"
        places = range(start, min(start + count, self._entries))
        return FrameLogPage(self._entries, 5355, start, tuple(self._entry(place) for place in places), {})

    def _entry(self, place: int) -> tuple[Any, ...]:
        right = {
            "entry": place,
            "boot": 3,
            "ms": 2000 * place,
            "preset": "",
            "verdict": 0,
            "skew_ns": -200_000,
        }
        if place in self._odd:
            odd = self._odd[place]
            if isinstance(odd, tuple):
                return odd
            assert isinstance(odd, dict)
            right |= odd
        return tuple(right.get(name) for name in FRAME_FIELDS)


@pytest.mark.parametrize("entries", [10**9, -1, 2**62])
def test_a_frame_log_of_senseless_length_is_refused_at_once(entries: int) -> None:
    client = OddLog(entries, {})
    with pytest.raises(BoxFailed, match="which cannot be"):
        read_framelog(client)  # type: ignore[arg-type]
    assert client.asked == 1


def test_a_senseless_entry_of_the_frame_log_counts_as_damaged_and_the_others_are_what_they_are() -> None:
    odd: list[object] = [(), (7,), ("x", None)]
    may_be = {
        "entry": (),
        "boot": (0, 2**31),
        "ms": (0, 2**31),
        "verdict": (0,),
        "skew_ns": (None, 0, -1, 2**31),
    }
    for name, sound in may_be.items():
        odd += [
            {name: value}
            for value in ODD
            if not any(type(value) is type(one) and value == one for one in sound)
        ]
    odd += [{"preset": value} for value in ODD if not isinstance(value, str | None)]
    placed = {2 * place + 1: one for place, one in enumerate(odd)}
    log = read_framelog(OddLog(2 * len(odd) + 1, placed))  # type: ignore[arg-type]
    assert len(log.frames) == 2 * len(odd) + 1
    for frame in log.frames[::2]:
        assert (frame.verdict, frame.boot) == ("within", 3)
        assert frame.skew_s == pytest.approx(-0.0002)
    assert all(frame.verdict == "damaged" for frame in log.frames[1::2])
    assert log.damaged == len(odd) > 80


@pytest.mark.parametrize("say", [None, "", "  ", 7, []])
@pytest.mark.parametrize(
    ("code", "words"),
    [("tangled", r"refused \(tangled\) and did not say why: install"), ("busy", "wait for it to end")],
)
def test_a_refusal_without_words_is_one_in_words(say: object, code: str, words: str) -> None:
    lines = LineReader()  # the box sends in packets: a line comes in pieces

    class Refusing(LossyPort):
        def read(self, timeout_s: float) -> bytes:
            found = lines.feed(self.inner.read(timeout_s))
            return b"".join(
                encode({"re": one["re"], "error": code, "say": say})
                if isinstance(one, dict) and "armed_ms" in one.get("ok", ()) and "state" not in one["ok"]
                else encode(one)
                for one in found
                if isinstance(one, dict)
            )

    client = BoxClient(Refusing(open_simulated("steady"), Cable(), 1))
    with pytest.raises(BoxFailed, match=words):
        client.arm(1000)


class Storming(LossyPort):
    """Whatever the box says is followed by events, as fast as they are read; it knows the number that is waited for."""

    client: BoxClient | None = None
    event: dict[str, Any]
    out_of_order = False
    reads = 0
    lines: LineReader | None = None

    def read(self, timeout_s: float) -> bytes:
        self.lines = self.lines or LineReader()  # the box sends in packets: a line comes in pieces
        said = self.lines.feed(self.inner.read(0.02))
        self.reads += 1
        assert self.reads < READS_MOST, "it goes on for ever"
        told = [one for one in said if isinstance(one, dict)]
        lines = [encode({"re": one["re"], "ok": {}} if "error" in one else one) for one in told]
        if self.client is not None:
            first = (self.client.talk.next_event or 1) + 1000 * self.out_of_order
            lines += [encode({"ev": first + place, **self.event}) for place in range(3)]
        return b"".join(lines)


@pytest.mark.parametrize("out_of_order", [False, True])
@pytest.mark.parametrize(
    "event", [{"is": "fault", "code": "x", "say": "y"}, {"is": "edges", "base": 5, "e": [0, 1, 1, 1]}]
)
def test_watching_for_quiet_ends_in_a_storm_too(event: dict[str, Any], out_of_order: bool) -> None:
    port = Storming(open_simulated("steady"), Cable(), 1)
    client = BoxClient(port)
    port.client, port.event, port.out_of_order = client, event, out_of_order
    before_s = port.now_s()
    with contextlib.suppress(BoxFailed):
        watch(client, MemorySession(header_for(client)), quiet_s=5.0)
    assert port.now_s() - before_s < 40.0


def test_our_own_box_on_a_cable_that_spoils_every_line_is_not_called_a_strangers() -> None:
    with pytest.raises(BoxFailed, match="if it is the box, try another cable") as failed:
        BoxClient(LossyPort(open_simulated("steady"), Cable(rate=0.2), 3))
    assert "no line of it comes through whole" in str(failed.value)
