"""The cable, at its worst: no pair wrong, none lost that the box saw, none counted twice, and it goes on after."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest

from coincide.box.cable.client import BoxClient
from coincide.box.cable.discover import ask_identity
from coincide.box.conduct import run_series
from coincide.box.plans import SeriesPlan
from coincide.box.simulated.port import open_simulated
from coincide.box.simulated.spec import BoxSpec, WorldSpec
from coincide.box.simulated.worlds import world_spec
from coincide.errors import BoxFailed
from coincide.session.file import SessionWriter, read_session
from tests.box.cable.lossy import Cable, LossyPort
from tests.box.campaign import CABLES, PLAN, assert_nothing_lost_wrong_or_twice, conduct
from tests.box.sinks import header_for
from tests.reliability.misread import misread

KINDS = ("flip", "drop", "double", "noise")
SHARES = (0.01, 0.02, 0.05, 0.10, 0.20)
SLOW_LINE = BoxSpec(bytes_per_s=1200.0, write_room_bytes=64)
SLOW_BOX = BoxSpec(step_s=0.030)
A_DEVICE = b"$WIXDR,C,11.4,C,AIRT*2B\r\n$WIMWV,214,R,3.1,M,A*3F\r\n"


def in_bursts(share: float) -> Cable:
    """A cable that hits this share of all bytes, in stretches as long as a plug that wiggles makes them."""
    return Cable(share, burst=round(2000 * share) + 10, kinds=KINDS)


def with_box(box: BoxSpec) -> WorldSpec:
    return WorldSpec("a slow one", "steady bodies", *world_spec("steady").bodies, box=box)


@pytest.mark.parametrize("share", SHARES)
def test_so_many_bytes_hit_in_bursts_cost_time_and_no_pair(share: float) -> None:
    campaign = conduct(in_bursts(share), 20, 11)
    assert campaign.port.damaged > share * campaign.port.carried / 2
    assert_nothing_lost_wrong_or_twice(campaign, 20)


@pytest.mark.parametrize("share", [0.007, *SHARES])
def test_so_many_single_bytes_hit_cost_no_pair_or_end_in_a_sentence_and_it_goes_on(
    tmp_path: Path, share: float
) -> None:
    """Hit singly, one byte in a hundred leaves hardly a line whole: then it says so, and keeps what it has."""
    inner = open_simulated("steady", seed=5)
    clean = BoxClient(inner)
    path = tmp_path / "s.jsonl"
    plan = SeriesPlan(6, PLAN, interval_s=0.8)
    header = header_for(clean)
    SessionWriter(path, header).close()
    bad = LossyPort(inner, Cable(share, kinds=KINDS), 5)
    sentences: tuple[str, ...] = ()
    with SessionWriter.resume(path, header) as writer:
        try:
            sentences = run_series(BoxClient(bad), writer, plan).sentences
        except BoxFailed as failed:
            sentences = (str(failed),)
    complete = len(read_session(path).shot) == plan.pairs
    assert complete or any("cable" in said or "box install" in said for said in sentences), sentences
    inner.wait(10.0)  # another cable is looked for
    assert inner.world.releases.closed_mask == 0
    with SessionWriter.resume(path, header) as writer:
        assert run_series(BoxClient(inner), writer, plan).complete
    session = read_session(path)
    assert session.shot.tolist() == [1, 2, 3, 4, 5, 6]
    assert session.lost.tolist() == [0] * 6
    on_file = set(session.edges.tick.tolist())
    assert {real.reference_tick for real in inner.truth} <= on_file | set(set_aside(path))


def set_aside(path: Path) -> Iterator[int]:
    for remark in read_session(path).remarks:
        if remark.kind == "left over":
            yield from remark.detail["tick"]


@pytest.mark.parametrize("box", [SLOW_LINE, SLOW_BOX], ids=["slow line", "slow box"])
@pytest.mark.parametrize(
    "cable", [in_bursts(0.02), Cable(stall_rate=0.2, split=True)], ids=["bursts", "stalls"]
)
def test_slow_and_damaged_at_once(box: BoxSpec, cable: Cable) -> None:
    assert_nothing_lost_wrong_or_twice(conduct(cable, 6, 3, spec=with_box(box)), 6)


@pytest.mark.parametrize("trouble", ["unplug", "reset"])
@pytest.mark.parametrize("share", [0.01, 0.10])
def test_the_plug_comes_out_of_a_bad_cable(trouble: str, share: float) -> None:
    campaign = conduct(in_bursts(share), 15, 21, trouble=trouble)
    assert campaign.port.machine.link.connections > 1
    assert_nothing_lost_wrong_or_twice(campaign, 15)


def test_the_misreading_receiver_reads_right_at_the_right_rate() -> None:
    assert misread(A_DEVICE, 9600, 9600) == A_DEVICE
    assert misread(A_DEVICE, 9600, 115200) != A_DEVICE


RATES = [
    (sent, read) for sent in (1200, 4800, 9600, 38400, 115200) for read in (9600, 115200) if sent != read
]


class Chatter:
    """A port at which another device talks all the time, at its own rate."""

    name = "/dev/another-device"

    def __init__(self, heard: bytes) -> None:
        self._heard = heard
        self._now_s = 0.0
        self.written = b""
        self.closed = False

    def write(self, data: bytes) -> None:
        self.written += data

    def read(self, timeout_s: float) -> bytes:
        self._now_s += 0.05
        return self._heard

    def now_s(self) -> float:
        return self._now_s

    def wait(self, seconds: float) -> None:
        self._now_s += seconds

    def reopen(self) -> bool:
        return True

    def close(self) -> None:
        self.closed = True


@pytest.mark.parametrize(("sent_baud", "read_baud"), RATES)
def test_another_device_at_another_rate_is_refused_in_a_sentence_and_soon(
    sent_baud: int, read_baud: int
) -> None:
    port = Chatter(misread(A_DEVICE * 3, sent_baud, read_baud))
    with pytest.raises(BoxFailed, match="another-device"):
        BoxClient(port)
    assert port.now_s() < 3.0
    asked = port.written
    assert b"arm" not in asked
    assert b"fire" not in asked
    with pytest.raises(BoxFailed, match="another-device"):
        ask_identity(port.name, open_port=lambda _: port)
    assert port.closed


@pytest.mark.parametrize("sent_baud", [4800, 38400])
def test_another_devices_noise_on_the_boxs_line_costs_time_and_no_pair(sent_baud: int) -> None:
    """As of a second adapter whose output is coupled into the line: whole stretches of nonsense between the lines."""
    random = Random(sent_baud)
    nonsense = misread(A_DEVICE * 4, sent_baud, 115200)

    class Coupled(LossyPort):
        def read(self, timeout_s: float) -> bytes:
            data = super().read(timeout_s)
            if random.random() < 0.2:
                at = random.randrange(len(data) + 1)
                self.damaged += 1
                data = data[:at] + nonsense[: random.randrange(len(nonsense))] + data[at:]
            return data

        def write(self, data: bytes) -> None:
            if random.random() < 0.2:
                self.inner.write(nonsense[: random.randrange(len(nonsense))])
            super().write(data)

    campaign = conduct(Cable(), 10, 31, port=Coupled)
    assert campaign.port.damaged > 10
    assert_nothing_lost_wrong_or_twice(campaign, 10)


@pytest.mark.soak
@pytest.mark.parametrize("trouble", ["", "unplug", "reset"])
def test_a_hundred_thousand_messages(trouble: str) -> None:
    """Every cable in turn, with boxes and lines fast and slow."""
    cables = [*CABLES.values(), *map(in_bursts, SHARES), Cable(0.004, kinds=("noise",))]
    messages = pairs = series = damaged = carried = connections = 0
    while messages < 120_000:
        for cable in cables:
            series += 1
            spec = (None, None, with_box(SLOW_LINE), with_box(SLOW_BOX))[series % 4]
            campaign = conduct(cable, 40, 1000 + series, trouble=trouble, every_s=15.0, spec=spec)
            assert_nothing_lost_wrong_or_twice(campaign, 40)
            messages += campaign.messages
            pairs += len(campaign.session.records)
            damaged += campaign.port.damaged
            carried += campaign.port.carried
            connections += campaign.port.machine.link.connections - 1
    print(
        f"{trouble or 'no trouble'}: {messages} messages, {pairs} pairs in {series} series, {damaged} of {carried} "
        f"bytes hit, {connections} times gone and back"
    )
