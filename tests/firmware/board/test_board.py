"""The whole board layer on the stand-in chip, in virtual time: what the app gets to see."""

from typing import Any

import pytest

from coincide_firmware.app.pins import PINS
from tests.firmware.board.loading import Loaded
from tests.firmware.board.standin.chip import SIO, Reset

HZ = 125_000_000
IDLE_HIGH = range(6, 12)
INTERLOCK = 15
BEAT = 10

Edge = tuple[int, int, int]


class Bench:
    """A board, made with the inputs idle and the interlock closed, its boot-time edges read."""

    def __init__(self, freq: int = HZ, chip: str = "RP2040") -> None:
        self.loaded = Loaded(freq, chip)
        self.chip = self.loaded.chip
        for gpio in IDLE_HIGH:
            self.chip.drive(gpio, 1)
        self.chip.drive(INTERLOCK, 0)
        self.board: Any = self.loaded.use("board.pico").Board()
        self.lost = 0
        self.read()
        # Ticks count from the start of the machines; the stand-in's pads are two cycles ahead of PIO.
        self.start = self.chip.cycle - self.board.tick()

    def read(self) -> list[Edge]:
        """Everything that is there to be read now."""
        edges: list[Edge] = []
        found = -1
        while found != len(edges) or self.board._sampler.pending():
            found = len(edges)
            self.lost += self.board.read_edges(lambda *edge: edges.append(edge))
        return edges


def truth(bench: Bench, since: int, channels: range = range(11)) -> list[Edge]:
    """(channel, level with 1 = closed, cycle) of what really happened at the pads."""
    out = []
    for cycle, gpio, level in bench.chip.history:
        if cycle >= since and gpio - 2 in channels:
            out.append((gpio - 2, level ^ (1 if gpio in IDLE_HIGH else 0), cycle))
    return out


@pytest.mark.parametrize(("freq", "chip"), [(HZ, "RP2040"), (150_000_000, "RP2350")])
def test_identity_says_what_it_is(freq: int, chip: str) -> None:
    bench = Bench(freq, chip)
    identity = bench.board.identity()
    assert identity["chip"] == chip
    assert identity["clock_hz"] == bench.board.tick_hz == freq
    assert identity["simulated"] is False
    assert identity["micropython"] == "1.28.0"


def test_no_output_moves_while_the_board_starts() -> None:
    bench = Bench()
    assert [entry for entry in bench.chip.history if entry[1] in (2, 3, 4, 5)] == []
    assert bench.board.outputs_closed() == 0
    assert not bench.board.outputs_busy()


@pytest.mark.parametrize(("freq", "chip"), [(HZ, "RP2040"), (150_000_000, "RP2350")])
def test_pair_leaves_with_its_offset_and_is_timestamped(freq: int, chip: str) -> None:
    bench = Bench(freq, chip)
    bench.board.start_pair(0, 12_345, 50_000, 200_000)
    assert bench.board.outputs_busy()
    bench.chip.run(400_000)
    assert not bench.board.outputs_busy()
    edges = bench.read()
    rose = {channel: tick for channel, level, tick in edges if level}
    assert rose[0] == rose[2]
    assert abs(rose[3] - rose[1] - 12_345) <= 1
    assert rose[1] - rose[0] == pytest.approx(50_000 + 5, abs=1)
    fell = {channel: tick for channel, level, tick in edges if not level}
    assert fell[1] - rose[1] == pytest.approx(200_000, abs=12)
    assert fell[0] == fell[1]


def test_every_input_channel_is_timed_against_the_pads() -> None:
    bench = Bench()
    since = bench.chip.cycle + 100
    for n, gpio in enumerate(IDLE_HIGH):
        bench.chip.at(since + 1001 * n, lambda gpio=gpio: bench.chip.drive(gpio, 0))
        bench.chip.at(since + 1001 * n + 377, lambda gpio=gpio: bench.chip.drive(gpio, 1))
    bench.chip.run(10_000)
    edges = bench.read()
    real = truth(bench, since)
    assert [(c, level) for c, level, _ in edges] == [(c, level) for c, level, _ in real]
    delays = {tick - cycle for (_, _, tick), (_, _, cycle) in zip(edges, real, strict=True)}
    assert max(delays) - min(delays) <= 1


def test_thousand_edges_two_hundred_nanoseconds_apart_are_all_kept() -> None:
    bench = Bench()
    since = bench.chip.cycle + 100
    for n in range(1000):
        gpio = 6 + n % 2
        bench.chip.at(since + 25 * n, lambda g=gpio, n=n: bench.chip.drive(g, n // 2 % 2))
    bench.chip.run(100 + 25 * 1000 + 100)
    edges = bench.read()
    real = truth(bench, since)
    assert bench.lost == 0
    assert len(real) >= 998
    assert [(c, level) for c, level, _ in edges] == [(c, level) for c, level, _ in real]
    delays = {tick - cycle for (_, _, tick), (_, _, cycle) in zip(edges, real, strict=True)}
    assert max(delays) - min(delays) <= 1


def test_ring_keeps_a_thousand_records_and_counts_what_it_lost() -> None:
    bench = Bench()
    since = bench.chip.cycle + 100
    count = 1200
    for n in range(count):
        bench.chip.at(since + 25 * n, lambda n=n: bench.chip.drive(6, n % 2))
    bench.chip.run(100 + 25 * count + 100)
    edges = bench.read()
    kept = 1023
    assert bench.lost == count - kept
    real = truth(bench, since)[-kept:]
    # What is left is the newest, with its true times.
    assert [edge[1] for edge in edges[-100:]] == [edge[1] for edge in real[-100:]]
    delays = {tick - cycle for (_, _, tick), (_, _, cycle) in zip(edges[-100:], real[-100:], strict=True)}
    assert max(delays) - min(delays) <= 1
    assert bench.read() == []


def test_overflowing_fifo_is_reported_and_the_sampler_starts_anew() -> None:
    bench = Bench()
    bench.chip.dma_starved = True
    for n in range(8):
        bench.chip.at(bench.chip.cycle + 100 + 50 * n, lambda n=n: bench.chip.drive(6, n % 2))
    bench.chip.run(2000)
    bench.chip.dma_starved = False
    before = bench.board.tick()
    bench.chip.run(100)
    bench.read()
    assert bench.lost >= 1
    lost = bench.lost
    since = bench.chip.cycle + 1000
    bench.chip.at(since, lambda: bench.chip.drive(9, 0))
    bench.chip.at(since + 500, lambda: bench.chip.drive(9, 1))
    bench.chip.run(5000)
    edges = bench.read()
    assert [(c, level) for c, level, _ in edges] == [(7, 1), (7, 0)]
    assert abs(edges[1][2] - edges[0][2] - 500) <= 1
    assert edges[0][2] > before
    assert bench.lost == lost
    # The clock went on, to the few microseconds Python can tell.
    assert abs(edges[0][2] - (since - bench.start)) < HZ // 10_000


def test_dead_sampler_is_noticed_by_its_heartbeat() -> None:
    bench = Bench()
    bench.chip.blocks[0].disable(7)
    bench.chip.run(11 * HZ)
    bench.read()
    bench.chip.run(HZ)
    bench.read()
    assert bench.lost >= 1
    lost = bench.lost
    bench.chip.drive(6, 0)
    bench.chip.run(1000)
    assert [(c, level) for c, level, _ in bench.read()] == [(4, 1)]
    assert bench.lost == lost


def test_heartbeat_never_reaches_the_app_and_carries_the_clock_over_the_wrap() -> None:
    bench = Bench()
    edges: list[Edge] = []
    for _ in range(70):
        bench.chip.run(10 * HZ)
        edges += bench.read()
    assert edges == []
    bench.chip.drive(6, 0)
    since = bench.chip.cycle
    bench.chip.run(1000)
    ((channel, level, tick),) = bench.read()
    assert (channel, level) == (4, 1)
    # 700 s is more than three wraps of the loop count.
    assert tick > 3 * 6 * (1 << 32)
    assert abs(tick - (since - bench.start)) < 2000


def test_no_heartbeat_while_a_shot_runs() -> None:
    bench = Bench()
    bench.chip.run(11 * HZ)
    bench.board.start_pair(0, 0, 1000, 5_000_000)
    bench.chip.history.clear()
    bench.read()
    assert [entry for entry in bench.chip.history if entry[1] == 12] == []
    bench.chip.run(6_000_000)
    bench.read()
    assert [entry[1] for entry in bench.chip.history if entry[1] == 12] == [12]


def test_millis_and_tick_go_on_for_months() -> None:
    bench = Bench()
    chip = bench.chip
    before = bench.board.millis()
    for _ in range(30):
        # Five days at a time, the machines and their DMA stopped so that time may leap.
        chip.blocks[0].disable(15)
        chip.blocks[1].disable(15)
        chip.run(5 * 86_400 * HZ)
        now = bench.board.millis()
        assert now > before
        before = now
    assert abs(before - 150 * 86_400_000) < 1000


def test_interlock_opens_the_outputs_without_python() -> None:
    bench = Bench()
    bench.board.start_pair(0, 0, 1000, 10_000_000)
    bench.chip.run(100_000)
    assert bench.board.outputs_closed() == 15
    bench.chip.history.clear()
    bench.chip.drive(INTERLOCK, 1)
    cycle = bench.chip.cycle
    bench.chip.run(200)
    opened = [entry[0] for entry in bench.chip.history if entry[1] in (2, 3, 4, 5)]
    assert len(opened) == 4
    # Two cycles of synchroniser, one closure loop of 19, the opening instruction: 184 ns at 125 MHz.
    assert max(opened) - cycle <= 23
    assert not bench.board.interlock_closed()


def test_ensure_open_falls_back_to_taking_the_pins_from_pio(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = Bench()
    bench.board.start_pair(0, 0, 100, 10_000_000)
    bench.chip.run(10_000)

    def broken() -> None:
        raise RuntimeError("PIO is gone")

    monkeypatch.setattr(bench.board._releases, "open_now", broken)
    bench.board.ensure_open()
    assert bench.board.outputs_closed() == 0
    # With its pins taken from PIO no pair could be fired any more: the box starts afresh.
    with pytest.raises(Reset, match=r"machine\.reset"):
        bench.board.idle(100)
    assert bench.chip.scratch == 0x636F696E


def test_soft_reset_in_mid_closure_is_opened_by_the_boot_file() -> None:
    bench = Bench()
    bench.board.start_pair(0, 0, 100, 100_000_000)
    bench.chip.run(10_000)
    # A soft reset stops the machines where they are: the outputs stay closed.
    bench.chip.blocks[1].disable(15)
    bench.chip.run(1000)
    assert bench.board.outputs_closed() == 15
    bench.loaded.use("boot")
    assert bench.board.outputs_closed() == 0


def test_starved_watchdog_ends_with_every_output_released() -> None:

    bench = Bench()
    bench.board.start_watchdog()
    bench.board.start_pair(0, 0, 100, 10 * HZ)
    with pytest.raises(Reset, match="watchdog"):
        bench.chip.run(20 * HZ)
    assert bench.chip.pads >> 2 & 15 == 0
    assert bench.chip.cycle < 6 * HZ


def test_serial_takes_what_fits_and_never_waits() -> None:
    bench = Bench()
    board, peer = bench.board, bench.loaded.peer
    assert board.serial_read() == b""
    peer.to_box += b"x" * 300 + b"\x03\x04\n"
    pieces = list(iter(board.serial_read, b""))
    assert b"".join(pieces) == b"x" * 300 + b"\x03\x04\n"
    assert max(map(len, pieces)) <= 256
    assert board.serial_write(b"y" * 100) == 64
    # A host that does not read: the line fills up and then takes nothing.
    peer.reading = False
    taken = sum(board.serial_write(b"z" * 64) for _ in range(10))
    assert taken <= 256
    assert board.serial_write(b"z") == 0


def test_a_host_that_stops_reading_holds_the_box_up_once() -> None:
    bench = Bench()
    board, peer = bench.board, bench.loaded.peer
    peer.reading = False
    peer.room = 100  # less than two packets: the second waits, and loses what does not fit
    assert [board.serial_write(b"y" * 64) for _ in range(4)] == [64, 64, 0, 0]
    assert peer.waited == 1
    peer.room = 30
    assert [board.serial_write(b"y" * 64) for _ in range(3)] == [30, 0, 0]
    # It reads again: byte by byte at first, then in packets.
    peer.reading = True
    assert [board.serial_write(b"y" * 64) for _ in range(10)] == [64] * 10
    assert peer.waited == 1
    assert board._usb._taken >= 512


def test_nothing_waits_for_the_host_while_a_release_may_be_closed() -> None:
    bench = Bench()
    board, peer = bench.board, bench.loaded.peer
    board.start_pair(0, 0, HZ // 10, HZ // 10)
    peer.reading = False
    peer.room = 100
    assert [board.serial_write(b"y" * 64) for _ in range(3)] == [64, 36, 0]
    assert peer.waited == 0


def test_idle_ends_early_for_bytes_and_edges() -> None:
    bench = Bench()
    board, chip = bench.board, bench.chip

    def passed(ms: int) -> float:
        start = chip.cycle
        board.idle(ms)
        return float((chip.cycle - start) * 1000 / HZ)

    assert passed(50) == pytest.approx(50, abs=2)
    chip.at(chip.cycle + HZ // 200, lambda: chip.drive(8, 0))
    assert passed(50) < 8
    bench.read()
    bench.loaded.peer.to_box += b"!"
    assert passed(50) < 2


def test_buttons_interlock_and_lights_follow_the_pin_table() -> None:
    bench = Bench()
    board, chip = bench.board, bench.chip
    for name, gpio in (("button_half", 13), ("button_full", 14), ("wound", 21), ("preset", 22)):
        assert not board.pressed(name)
        chip.drive(gpio, 0)
        assert board.pressed(name)
        chip.drive(gpio, None)
    assert board.interlock_closed()
    chip.drive(INTERLOCK, None)  # a cut cable reads open
    assert not board.interlock_closed()
    board.lights(1, 0)
    assert chip.pads >> 16 & 3 == 1
    board.lights(0, 1)
    assert chip.pads >> 16 & 3 == 2


def test_files_in_flash() -> None:
    files = Bench().board.files
    assert files.read("log") is None
    assert files.size("log") == 0
    files.append("log", b"abc")
    files.append("log", b"def")
    assert files.read("log") == b"abcdef"
    assert files.read_at("log", 2, 3) == b"cde"
    files.replace("log", b"x")
    assert files.size("log") == 1
    assert files.names() == ["log"]
    files.remove("log")
    files.remove("log")
    assert files.names() == []
    assert files.free_bytes() == 4096 * 150


def test_a_burst_is_drained_a_batch_a_call_and_pending_says_that_there_is_more() -> None:
    bench = Bench()
    for n in range(200):
        bench.chip.drive(6, n % 2)
        bench.chip.run(50)
    bench.chip.run(100)
    batches = []
    while bench.board._sampler.pending():
        found: list[Edge] = []
        assert bench.board.read_edges(lambda *edge, kept=found: kept.append(edge)) == 0
        batches.append(len(found))
    assert sum(batches) == 200
    assert len(batches) >= 4
    # So an idle box comes back at once for the rest.
    before = bench.chip.cycle
    bench.chip.drive(6, 0)
    bench.chip.run(100)
    bench.board.idle(100)
    assert bench.chip.cycle - before < HZ // 100


@pytest.mark.parametrize("name", ["RP2040", "RP2350"])
def test_words_with_a_sign_read_from_registers_and_memory_change_nothing(name: str) -> None:
    heard: list[list[Edge]] = []
    for signed in (False, True):
        loaded = Loaded(chip=name)
        loaded.chip.signed_words = signed
        for gpio in IDLE_HIGH:
            loaded.chip.drive(gpio, 1)
        loaded.chip.drive(INTERLOCK, 0)
        board = loaded.use("board.pico").Board()
        edges: list[Edge] = []
        for _ in range(3):
            board.start_pair(0, 5_000, 10_000, 40_000)
            for level in (0, 1, 0, 1):
                loaded.chip.drive(6, level)
                loaded.chip.run(30_000)
            while board._sampler.pending():
                assert board.read_edges(lambda *edge, kept=edges: kept.append(edge)) == 0
        assert not board.outputs_busy()
        heard.append(edges)
    assert len(heard[0]) == 3 * (8 + 4)
    assert heard[0] == heard[1]


def test_flash_failures_come_out_as_oserror() -> None:
    bench = Bench()
    bench.loaded.files.failing = True
    with pytest.raises(OSError, match="5"):
        bench.board.files.append("log", b"abc")


def test_restart_on_purpose_is_told_from_a_hang() -> None:
    bench = Bench()
    with pytest.raises(Reset):
        bench.board.reset()
    bench.loaded.power_up()
    assert bench.chip.reset_cause == 3
    registers = bench.loaded.use("board.registers")
    assert registers.restart_was_meant("RP2040")
    assert not registers.restart_was_meant("RP2040")


@pytest.mark.parametrize("name", ["RP2040", "RP2350"])
def test_reset_cause_tells_power_a_register_and_a_starved_watchdog_apart(name: str) -> None:
    loaded = Loaded(chip=name)
    board = loaded.use("board.pico").Board()
    assert board.identity()["reset_cause"] == "power"
    for how, cause in (("interpreter", "restart"), ("hang", "watchdog"), ("app", "restart")):
        board.start_watchdog()
        ends = {
            "interpreter": loaded.use("machine").reset,
            "hang": lambda: loaded.chip.run(6 * loaded.chip.freq),
            "app": board.reset,
        }
        with pytest.raises(Reset):
            ends[how]()
        loaded.power_up()
        board = loaded.use("board.pico").Board()
        assert board.identity()["reset_cause"] == cause


def test_transfer_count_of_either_chip_goes_on_for_ever() -> None:
    registers = Loaded().use("board.registers")
    for is_rp2350, words in ((False, 0xFFFFFFFF), (True, 1 << 27)):
        loaded = Loaded(chip="RP2350" if is_rp2350 else "RP2040")
        registers = loaded.use("board.registers")
        count = registers.TransferCount(2, is_rp2350)
        count.begin()
        channel = loaded.chip.dma[2]
        assert channel.count == words
        assert channel.reload == count.start_value
        moved = 0
        for step in (0, 1, 1000, words // 3, words // 3):
            moved += step
            channel.count = words - moved
            assert count.moved() == moved
            assert not count.changed()
        if is_rp2350:
            # Past its end it starts again by itself.
            channel.count = words - 5
            assert count.changed()
            assert count.moved() == words + 5
            assert not count.near_its_end()
        else:
            channel.count = 1000
            count.moved()
            assert count.near_its_end()


def test_the_chip_pulls_no_isolated_input_up_and_every_other_one() -> None:
    bench = Bench()
    pulled = {row[0] for row in PINS[4:10] if bench.chip.pull_up >> row[1] & 1}
    assert pulled == {"gate_a1", "gate_a2", "gate_b1", "gate_b2"}


def test_interlock_is_pulled_up_whatever_the_machines_did_to_it() -> None:
    bench = Bench()
    bench.chip.drive(INTERLOCK, None)
    assert bench.chip.pads >> INTERLOCK & 1


@pytest.mark.parametrize(("freq", "chip"), [(HZ, "RP2040"), (150_000_000, "RP2350")])
def test_pull_downs_are_seen_and_a_pair_leaves_as_before(freq: int, chip: str) -> None:
    bench = Bench(freq, chip)
    for gpio in (2, 3, 5):
        bench.chip.drive(gpio, 0)  # 4 floats: its resistor was forgotten
    bench.chip.drive(INTERLOCK, 1)
    bench.chip.run(1000)
    assert bench.loaded.inside(bench.board.pull_downs_held) == 0b1011
    assert bench.board.outputs_closed() == 0
    for gpio in (2, 3, 4, 5):
        bench.chip.drive(gpio, None)
    bench.chip.drive(INTERLOCK, 0)
    bench.chip.run(1000)
    bench.read()
    bench.board.start_pair(0, 12_345, 50_000, 200_000)
    bench.chip.run(400_000)
    rose = {channel: tick for channel, level, tick in bench.read() if level}
    assert abs(rose[3] - rose[1] - 12_345) <= 1
    assert bench.chip.pull_up & 0b111100 == 0


def test_a_look_at_the_pull_downs_that_fails_leaves_the_pins_driven_open_and_restarts() -> None:
    bench = Bench()
    bench.loaded.use("board.pull_downs").PIN_BASES = {}
    with pytest.raises(KeyError):
        bench.loaded.inside(bench.board.pull_downs_held)
    assert bench.chip.owned[SIO] & bench.chip.sio_dir & 0b111100 == 0b111100
    assert bench.board.outputs_closed() == 0
    with pytest.raises(Reset):
        bench.board.idle(1)
