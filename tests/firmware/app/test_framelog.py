"""The frame log outlives the power, wears evenly and says when it is full."""

from coincide_firmware.app import framelog
from coincide_firmware.app.frame_words import FRAME_FIELDS
from coincide_firmware.app.framelog import CAPACITY, ENTRIES_A_SEGMENT, FrameLog
from coincide_firmware.app.verdict import OUT, BodyReading, FrameReading
from tests.firmware.app.stand_in import Bench, Flash, PowerCut

PRESET = {"name": "1/125", "tolerance_ns": 1000000, "delay_a_ns": 1, "delay_b_ns": 0, "how_a": 1, "how_b": 3}


def reading(skew_ns):
    frame = FrameReading(BodyReading(), BodyReading(), skew_ns, OUT, 0)
    frame.a.lag_ns = 40000000
    frame.b.lag_ns = -3
    frame.b.exposure_ns = 8000000
    frame.a.bounces = 1000
    return frame


def write(log, number):
    """One entry; what `finish` said."""
    return log.begin() and log.finish(7, number, "1/125", reading(-number), PRESET)


def copy_of(files):
    copy = Flash()
    copy.content = {name: bytearray(held) for name, held in files.content.items()}
    return copy


def numbers(log):
    """The number each entry was written with; None where damaged."""
    found = []
    for index in range(log.entries):
        entry = log.read(index)
        assert entry[0] == index
        found.append(entry[2] if len(entry) > 1 else None)
    return found


def test_an_entry_comes_back_as_it_was():
    files = Flash()
    log = FrameLog(files)
    assert log.entries == 0
    assert log.read(0) is None
    assert write(log, 5)
    for again in (log, FrameLog(files)):
        assert again.entries == 1
        assert again.damaged == 0
        entry = again.read(0)
        assert len(entry) == len(FRAME_FIELDS)
        named = {FRAME_FIELDS[i]: entry[i] for i in range(len(entry))}
        assert named == {
            "entry": 0,
            "boot": 7,
            "ms": 5,
            "preset": "1/125",
            "verdict": OUT,
            "skew_ns": -5,
            "lag_a_ns": 40000000,
            "lag_b_ns": -3,
            "exposure_a_ns": None,
            "exposure_b_ns": 8000000,
            "delay_a_ns": 1,
            "delay_b_ns": 0,
            "tolerance_ns": 1000000,
            "how_a": 1,
            "how_b": 3,
            "bounces_a": 255,
            "bounces_b": 0,
            "flicks_a": 0,
            "flicks_b": 0,
            "lost": 0,
        }


def cut_everywhere(before, work):
    """Run `work(log)` on copies of the flash with the power cut after every byte it writes. Yields what a
    fresh boot finds, with the byte at which the power went."""
    whole = copy_of(before)
    work(FrameLog(whole))
    total = sum(whole.written.values())
    for cut in range(total):
        files = copy_of(before)
        log = FrameLog(files)
        files.cut_after = cut
        try:
            work(log)
            raise AssertionError("the power should have gone")
        except PowerCut:
            pass
        files.cut_after = -1
        yield cut, files, FrameLog(files)


def test_power_cut_at_every_byte_of_a_write_loses_that_entry_at_most():
    for filled in (0, 1, 7):
        files = Flash()
        log = FrameLog(files)
        for number in range(filled):
            assert write(log, number)
        opening = 80 if filled == 0 else 0  # the first entry brings its segment's header
        for cut, cut_files, found in cut_everywhere(files, lambda log: write(log, 99)):
            assert numbers(found)[:filled] == list(range(filled)), cut
            if cut <= opening:
                # Not a byte of the entry itself was written: nothing is there, nothing is claimed.
                assert found.entries == filled, cut
                assert found.damaged == 0, cut
            else:
                assert numbers(found) == list(range(filled)) + [None], cut
                assert found.damaged == 1, cut
            # And the log goes on.
            assert write(found, 100)
            assert numbers(FrameLog(cut_files))[-1] == 100
            assert numbers(FrameLog(cut_files))[:filled] == list(range(filled))


def test_power_cut_where_a_segment_ends_loses_nothing_else():
    files = Flash()
    log = FrameLog(files)
    for number in range(ENTRIES_A_SEGMENT - 1):
        assert write(log, number)
    for cut, cut_files, found in cut_everywhere(files, lambda log: write(log, 49)):
        assert numbers(found)[: ENTRIES_A_SEGMENT - 1] == list(range(ENTRIES_A_SEGMENT - 1))
        # Once the entry is whole, a cut in the next segment's header does not touch it.
        assert found.damaged == (1 if 0 < cut < 80 else 0), cut
        assert write(found, 100)
        assert numbers(FrameLog(cut_files))[-1] == 100


def test_power_cut_while_the_repair_of_a_cut_is_written():
    files = Flash()
    log = FrameLog(files)
    write(log, 0)
    files.cut_after = 30
    try:
        write(log, 1)
    except PowerCut:
        pass
    for cut in range(50):
        again = copy_of(files)
        again.cut_after = cut
        try:
            FrameLog(again)
        except PowerCut:
            pass
        again.cut_after = -1
        found = FrameLog(again)
        assert numbers(found) == [0, None]
        assert found.damaged == 1


def test_power_cut_while_clearing_clears_all_or_nothing():
    files = Flash()
    log = FrameLog(files)
    for number in range(2 * ENTRIES_A_SEGMENT + 5):
        write(log, number)
    entries = log.entries
    outcomes = set()
    for cut, _, found in cut_everywhere(files, lambda log: log.clear(entries)):
        assert found.entries in (0, entries), cut
        outcomes.add(found.entries)
        if found.entries:
            assert numbers(found) == list(range(entries))
        assert write(found, 100)

    # The power also goes between two removals.
    class Gone(Exception):
        pass

    for removals in range(3):
        again = copy_of(files)
        log = FrameLog(again)
        left = [removals]
        plain = again.remove

        def remove(name, left=left, plain=plain):
            if left[0] == 0:
                raise Gone()
            left[0] -= 1
            plain(name)

        again.remove = remove
        try:
            log.clear(entries)
        except Gone:
            pass
        again.remove = plain
        found = FrameLog(again)
        assert found.entries == 0
        assert len([name for name in again.names() if name.startswith("frames")]) == 1
    assert entries in outcomes


def test_clearing_needs_the_count_there_is():
    files = Flash()
    log = FrameLog(files)
    for number in range(3):
        write(log, number)
    assert not log.clear(2)
    assert not log.clear(4)
    assert numbers(log) == [0, 1, 2]
    assert log.clear(3)
    assert log.entries == 0
    write(log, 9)
    assert numbers(FrameLog(files)) == [9]


def test_a_full_log_refuses_and_counts_and_overwrites_nothing():
    assert CAPACITY >= 1000
    segments = framelog.SEGMENTS
    framelog.SEGMENTS = 3
    try:
        files = Flash()
        log = FrameLog(files)
        capacity = 3 * ENTRIES_A_SEGMENT
        for number in range(capacity):
            assert write(log, number)
        before = copy_of(files).content
        for _ in range(4):
            assert not write(log, 0)
        assert log.unlogged == 4
        assert files.content == before
        found = FrameLog(files)
        assert numbers(found) == list(range(capacity))
        assert not write(found, 0)
        assert found.clear(capacity)
        assert write(found, 1)
    finally:
        framelog.SEGMENTS = segments


def test_flash_wears_evenly():
    segments = framelog.SEGMENTS, framelog.FILES
    framelog.SEGMENTS, framelog.FILES = 4, 6
    try:
        files = Flash()
        log = FrameLog(files)
        for _ in range(60):
            for number in range(20):  # always cleared long before it is full
                assert write(log, number)
            assert log.clear(20)
        worn = [files.written["frames.%02d" % place] for place in range(6)]
        assert max(worn) - min(worn) <= 21 * framelog.SLOT_BYTES
    finally:
        framelog.SEGMENTS, framelog.FILES = segments


def test_a_flash_error_costs_the_frame_and_is_counted():
    files = Flash()
    log = FrameLog(files)
    write(log, 0)
    files.fail = True
    assert not log.begin()
    assert log.unlogged == 1
    files.fail = False
    assert write(log, 1)
    assert log.begin()
    files.fail = True
    assert not log.finish(7, 2, "", reading(0), None)
    files.fail = False
    assert write(log, 3)
    assert numbers(FrameLog(files)) == [0, 1, None, 3]
    assert log.damaged == 1


def test_a_flash_without_space_is_a_full_log():
    files = Flash(capacity=20000)
    log = FrameLog(files)
    written = 0
    while write(log, written):
        written += 1
    assert 20 < written < 100
    assert files.free_bytes() >= framelog.SPARE_BYTES - 2 * framelog.SLOT_BYTES
    assert numbers(FrameLog(files)) == list(range(written))


def test_rot_in_the_middle_costs_one_entry():
    files = Flash()
    log = FrameLog(files)
    for number in range(3):
        write(log, number)
    for at in range(2 * 80, 3 * 80):  # the second entry's slot
        rotten = copy_of(files)
        rotten.content["frames.00"][at] ^= 0x04
        found = FrameLog(rotten)
        assert numbers(found) == [0, None, 2]
        assert found.damaged == 1


def test_a_rotten_header_costs_no_entry():
    files = Flash()
    log = FrameLog(files)
    total = 2 * ENTRIES_A_SEGMENT + 10
    for number in range(total):
        write(log, number)
    for name in ("frames.00", "frames.01", "frames.02"):
        rotten = copy_of(files)
        rotten.content[name][5] ^= 0xFF
        found = FrameLog(rotten)
        assert numbers(found) == list(range(total)), name
    lone = Flash()
    log = FrameLog(lone)
    for number in range(4):
        write(log, number)
    lone.content["frames.00"][0] ^= 0xFF
    assert numbers(FrameLog(lone)) == [0, 1, 2, 3]


def test_files_of_others_are_left_alone():
    files = Flash()
    files.append("frames.txt", b"a photographer's note")
    log = FrameLog(files)
    write(log, 1)
    log.clear(1)
    assert FrameLog(files).entries == 0
    assert files.read("frames.txt") == b"a photographer's note"


def test_pages_on_the_wire():
    bench = Bench()
    for number in range(23):
        write(bench.box.framelog, number)
    found = []  # type: list[list]
    pages = 0
    while True:
        page = bench.ok("framelog", start=len(found), count=16)
        assert page["entries"] == 23
        if not page["list"]:
            break
        found.extend(page["list"])
        pages += 1
    assert [entry[0] for entry in found] == list(range(23))
    assert [entry[2] for entry in found] == list(range(23))
    assert pages <= 8
    assert bench.refused("framelog_clear", entries=22) == "bad_field"
    assert bench.ok("framelog_clear", entries=23)["entries"] == 0
    assert bench.ok("identify")["framelog"] == {
        "entries": 0,
        "capacity": CAPACITY,
        "damaged": 0,
        "checked": 0,
    }


class CountingFlash(Flash):
    """Counts what is asked of the flash and how many bytes it gives."""

    asked = 0
    given = 0

    def read_at(self, name, at, count):
        self.asked += 1
        found = super().read_at(name, at, count)
        self.given += len(found)
        return found


def test_the_start_reads_the_last_segment_alone_and_the_rest_is_looked_through_later():
    files = CountingFlash()
    log = FrameLog(files)
    for number in range(5 * ENTRIES_A_SEGMENT + 20):
        assert write(log, number)
    spoilt = (3, 49, 50, 180, 261)
    for index in spoilt:
        name = "frames.%02d" % (index // ENTRIES_A_SEGMENT)
        files.content[name][80 * (1 + index % ENTRIES_A_SEGMENT) + 40] ^= 1
    files.asked = files.given = 0
    bench = Bench(files)
    assert files.asked <= 6
    assert files.given <= 80 * 22
    log = bench.ok("identify")["framelog"]
    assert log["entries"] == 270
    assert 20 <= log["checked"] < 100
    assert log["damaged"] < 5
    # While armed the box has other things to do.
    bench.ok("arm", timeout_ms=10000)
    before = bench.ok("identify")["framelog"]["checked"]
    bench.run_ms(1000)
    assert bench.ok("identify")["framelog"]["checked"] == before
    bench.ok("disarm")
    bench.run_ms(2000)
    log = bench.ok("identify")["framelog"]
    assert (log["checked"], log["damaged"]) == (270, len(spoilt))
    assert [index for index in range(270) if len(bench.box.framelog.read(index)) == 1] == list(spoilt)
    # What is written or cleared in between counts as ever.
    assert write(bench.box.framelog, 270)
    assert bench.box.framelog.damaged == len(spoilt)
    again = FrameLog(files)
    assert again.look_on()
    assert again.clear(271)
    assert not again.look_on()
    assert again.summary() == {"entries": 0, "capacity": CAPACITY, "damaged": 0, "checked": 0}
