"""Everything around the application fails, one thing at a time and everywhere: outputs open, the box goes on or starts
afresh, the host is told, and what was stored is there or said to be lost."""

import sys

from coincide_firmware.app.slots import TwoSlots
from tests.firmware.app.stand_in import Bench, Flash, StandInBoard, two_bodies

MS = 1000000
PRESET = {"name": "1/125", "tolerance_ns": 1000000, "delay_a_ns": 3000000, "how_a": 1, "how_b": 1}
OPEN_WITHIN_MS = 25  # one step of the loop
# MicroPython's VM is slow and shows that the language does not matter; every place is visited on CPython.
COARSE = 13 if sys.implementation.name == "micropython" else 1


def whole_life(bench):
    """Much of what a box does, a piece at a time: stored, armed, fired, listened, told, pressed, logged, read."""
    two_bodies(bench)
    yield bench.ask("put", values={"min_interval_ms": 200, "window_ms": 200})
    yield bench.ask("put", preset=0, values=PRESET)
    yield bench.ask("identify")
    yield bench.ask("arm")
    yield bench.ask(
        "fire", shot=1, delay_b_ns=20 * MS, lead_ns=60 * MS, closure_ns=80 * MS, window_ns=200 * MS
    )
    for _ in range(12):
        yield bench.run_ms(40)
    yield bench.ask("ack", upto=bench.box.events.last)
    yield bench.ask("pulse", output=1, closure_ns=30 * MS)
    for _ in range(6):
        yield bench.run_ms(40)
    yield bench.ask("disarm")
    yield bench.ask("lamps")
    bench.board.open_interlock()
    yield bench.ask("pull_downs")
    bench.board.interlock = True
    yield bench.run_ms(20)
    yield bench.ask("watch", on=1)
    yield bench.ask("watch", on=0)
    bench.board.contacts["button_half"] = 1
    yield bench.run_ms(60)
    bench.board.contacts["button_full"] = 1
    for _ in range(50):
        yield bench.run_ms(40)
    bench.board.contacts["button_half"] = bench.board.contacts["button_full"] = 0
    yield bench.run_ms(100)
    yield bench.ask("framelog")
    yield bench.ask("crash")
    yield bench.ask("framelog_clear", entries=bench.box.framelog.entries)
    yield bench.ask("crash_clear")


def fires_again(bench):
    """After the failure: armed anew, a pair is fired, heard and told."""
    bench.board.contacts["button_half"] = bench.board.contacts["button_full"] = 0
    bench.board.interlock = True  # a hand that had opened it closes it again
    bench.run_ms(1500)
    bench.ok("ack", upto=bench.box.events.last)
    bench.events.clear()
    bench.ok("watch", on=0)
    bench.ok("disarm")
    bench.ok("arm")
    bench.ok("fire", shot=500, lead_ns=20 * MS, window_ns=200 * MS)
    bench.run_ms(800)
    shots = bench.events_of("shot")
    assert [shot["aborted"] for shot in shots] == [None], shots


class FailsAt(StandInBoard):
    """A board of which the `count`th call of one method raises."""

    where = ""
    error = Exception()  # type: Exception
    count = 0
    seen = 0
    struck_ms = -1

    def _may_raise(self, name):
        if name == self.where:
            self.seen += 1
            if self.seen == self.count:
                self.struck_ms = self.millis()
                raise self.error


def test_an_exception_in_every_call_of_the_board_opens_and_is_told():
    for where in StandInBoard.FAILING:
        count = 1
        while True:
            bench = Bench(board_class=FailsAt)
            bench.board.where = where
            bench.board.error = ValueError("in " + where)
            bench.board.count = count
            for _ in whole_life(bench):
                if (
                    bench.board.struck_ms >= 0
                    and bench.board.struck_ms + OPEN_WITHIN_MS > bench.board.millis()
                ):
                    assert bench.board.outputs_closed() == 0, (where, count)
            if bench.board.struck_ms < 0:
                break
            # whole_life cleared the record at its end, so it is the host who was told.
            assert bench.fault_codes().count("exception") == 1, (where, count)
            assert bench.box.crash.since_boot == 1
            fires_again(bench)
            count = count * 2 + 1 if count > 5 or COARSE > 1 else count + 1
        assert count > 1, where


def test_the_crash_record_names_the_request_or_the_loop():
    for where, verb, fields, doing in (
        ("start_pair", "fire", {"shot": 1}, "fire"),
        ("start_pulse", "pulse", {"output": 0}, "pulse"),
        ("run_lamps", "lamps", {}, "lamps"),
        ("read_edges", "status", {}, "loop"),
        ("pressed", "status", {}, "loop"),
    ):
        bench = Bench()
        bench.ok("arm")
        bench.board.raise_in[where] = ValueError("told to fail")
        bench.ask(verb, **fields)
        bench.step(2)
        record = bench.ok("crash")["crash"]
        assert record["doing"] == doing
        assert "told to fail" in record["text"]
        assert record["boot"] == 1


class Failing(Flash):
    """Flash whose operation number `at` fails, and with `lasting` every one after it."""

    def __init__(self):
        super().__init__()
        self.operation = 0
        self.at = -1
        self.lasting = False

    def _work(self):
        self.operation += 1
        if self.operation == self.at or (self.lasting and 0 < self.at <= self.operation):
            raise OSError(5)

    def read(self, name):
        self._work()
        return super().read(name)

    def read_at(self, name, at, count):
        self._work()
        return super().read_at(name, at, count)

    def size(self, name):
        self._work()
        return super().size(name)

    def append(self, name, data):
        self._work()
        super().append(name, data)

    def replace(self, name, data):
        self._work()
        super().replace(name, data)

    def remove(self, name):
        self._work()
        super().remove(name)

    def names(self):
        self._work()
        return super().names()

    def free_bytes(self):
        self._work()
        return super().free_bytes()


def test_flash_failing_at_every_operation():
    plain = Failing()
    for _ in whole_life(Bench(plain)):
        pass
    assert plain.operation >= 25
    for lasting in (False, True):
        for at in range(1, plain.operation + 1, 1 if COARSE == 1 else 3):
            files = Failing()
            files.at = at
            files.lasting = lasting
            bench = Bench(files)
            said = [answer for answer in whole_life(bench) if answer is not None]
            # Each request was answered: done, or refused for the flash and for nothing else.
            for answer in said:
                assert "ok" in answer or answer["error"] in ("flash", "bad_field"), (at, lasting, answer)
            assert bench.box.crash.since_boot == 0, (at, lasting)
            assert [event["aborted"] for event in bench.events_of("shot")] == [None, None], (at, lasting)
            files.at = -1
            # What comes after the failure is kept, and nothing whole is taken for damaged or the other way round.
            fires_again(bench)
            bench.ok("put", values={"min_interval_ms": 700})
            assert Bench(files).ok("get")["values"]["min_interval_ms"] == 700


def test_a_failing_flash_at_the_start_never_turns_into_other_settings_unsaid():
    files = Failing()
    bench = Bench(files)
    bench.ok("put", values={"manual_wind": 1, "min_interval_ms": 900})
    bench.ok("put", preset=0, values=PRESET)
    files.operation = 0
    Bench(files)
    for at in range(1, files.operation + 1):
        files.operation = 0
        files.at = at
        again = Bench(files)
        files.at = -1
        again.step(3)
        got = again.ok("get")
        if not got["ok"]:
            assert again.fault_codes() == ["settings"], at
            assert got["say"], at
        else:
            assert got["values"]["manual_wind"] == 1, at
            assert got["presets"] == ["1/125"], at


class Full(Flash):
    """Flash with so much room and no more; a file that does not fit is left cut short."""

    def replace(self, name, data):
        self.content[name] = bytearray()
        room = self.free_bytes()
        super().replace(name, data[: max(0, room)])
        if room < len(data):
            raise OSError(28)


def test_flash_full_is_said_and_nothing_stored_is_lost():
    for spare in (0, 1, 11, 12, 40, 200, 900):
        files = Full()
        bench = Bench(files)
        two_bodies(bench)
        bench.ok("put", values={"min_interval_ms": 200, "window_ms": 200})
        bench.ok("put", preset=0, values=PRESET)
        bench.press("button_full")
        bench.run_ms(2000)
        assert bench.ok("framelog")["entries"] == 1
        files.capacity = sum(len(held) for held in files.content.values()) + spare
        reply = bench.ask("put", preset=1, values=PRESET)
        assert "ok" in reply or reply["error"] == "flash"
        bench.press("button_full")
        bench.run_ms(2000)
        # Fired and shown all the same; the frame that was not written is counted.
        assert bench.ok("status")["unlogged"] == 1
        assert [led for led in bench.board.led_log if led[1:] != (0, 0)]
        assert bench.box.crash.since_boot == 0
        again = Bench(files)
        assert again.ok("framelog")["entries"] == 1
        assert again.ok("framelog")["damaged"] == 0
        assert again.ok("get", preset=0)["values"]["delay_a_ns"] == 3000000
        again.step(3)
        # A change that did not fit is said to have been lost.
        if "ok" not in reply:
            assert again.ok("get")["presets"] == ["1/125"]
            assert "settings" in again.fault_codes()
            assert set(again.fault_codes()) <= {"flash", "settings"}  # the start itself may not be counted
        two_bodies(again)
        fires_again(again)


def stored_bench():
    """A box on which two versions of the settings lie in flash: (files, name of the newer slot, of the older)."""
    bench = Bench()
    bench.ok("put", values={"manual_wind": 1})
    bench.ok("put", preset=0, values=PRESET)
    names = [name for name in bench.board.files.content if name.startswith("settings")]
    assert len(names) == 2
    newer = max(names, key=lambda name: bench.board.files.content[name][4])
    names.remove(newer)
    return bench.board.files, newer, names[0]


def damaged(files, changes):
    """A box started from flash in which some files were changed."""
    copy = Flash()
    copy.content = {name: bytearray(held) for name, held in files.content.items()}
    for name, content in changes:
        copy.content[name] = bytearray(content)
    bench = Bench(copy)
    bench.step(3)
    return bench


def wrecks(whole):
    """Every byte changed in three ways, every length cut short."""
    for at in range(0, len(whole), COARSE):
        for flip in (0x01, 0x80, 0xFF):
            wreck = bytearray(whole)
            wreck[at] ^= flip
            yield wreck
        yield whole[:at]


def test_settings_damaged_at_every_byte_fall_back_and_say_so():
    files, newer, older = stored_bench()
    for wreck in wrecks(bytes(files.content[newer])):
        bench = damaged(files, [(newer, wreck)])
        assert bench.fault_codes() == ["settings"]
        assert bench.ok("identify")["settings_ok"] is False
        got = bench.ok("get")
        assert got["values"]["manual_wind"] == 1
        assert got["presets"] == []
        assert "the settings before it" in got["say"]
    for wreck in wrecks(bytes(files.content[older])):
        bench = damaged(files, [(older, wreck)])
        got = bench.ok("get")
        # The newest is whole and in use; the box says that its spare is gone.
        assert got["values"]["manual_wind"] == 1
        assert got["presets"] == ["1/125"]
        assert got["ok"] is False


def test_settings_damaged_in_both_places_are_safe_defaults_and_no_button():
    files, newer, older = stored_bench()
    spoilt = bytes(files.content[older])[:-1]
    for wreck in wrecks(bytes(files.content[newer])):
        bench = damaged(files, [(newer, wreck), (older, spoilt)])
        assert bench.fault_codes() == ["settings"]
        got = bench.ok("get")
        assert got["presets"] == []
        assert "safe defaults" in got["say"]
        assert bench.box.settings.usable is False
    bench.press("button_full")
    bench.run_ms(1000)
    assert bench.board.closures == []


def test_settings_that_are_whole_and_mean_nothing_are_damage_too():
    wrong = (
        None,
        1,
        "x",
        [],
        {},
        {"values": 1},
        {"values": {}, "presets": 1},
        {"values": {}, "presets": [1]},
        {"values": {}, "presets": [[]]},
        {"values": {}, "presets": {"a": 1}},
        {"values": {"closure_ms": 60000}, "presets": []},
        {"values": {"preset": 8}, "presets": []},
        {"values": {"lead_ms": True}, "presets": []},
        {"values": {"other": 1}, "presets": []},
        {"values": {}, "presets": [{"name": "x", "tolerance_ns": 1, "delay_a_ns": 1 << 40}]},
    )  # type: tuple[object, ...]
    for nonsense in wrong:
        files = Flash()
        TwoSlots(files, "settings").save(nonsense)
        bench = Bench(files)
        bench.step(3)
        assert bench.box.crash.since_boot == 0
        assert bench.fault_codes() == ["settings"], nonsense
        assert bench.ok("get")["ok"] is False
        bench.ok("put", values={"manual_wind": 0})
        assert Bench(files).ok("get")["ok"] is True


def test_boot_count_and_crash_record_damaged_at_every_byte_stop_nothing():
    bench = Bench()
    bench.board.raise_in["read_edges"] = ValueError("fate")
    bench.step(2)
    files = bench.board.files
    for name in list(files.content):
        if name.startswith(("boot", "crash")):
            for wreck in wrecks(bytes(files.content[name])):
                again = damaged(files, [(name, wreck)])
                assert again.ok("identify")["boot"] >= 1
                again.ok("crash")
                again.ok("arm")


def test_power_lost_at_every_millisecond_of_a_shot():
    for source in ("host", "field"):
        for cut_ms in range(0, 520, COARSE):
            bench = Bench()
            two_bodies(bench)
            bench.ok("put", values={"lead_ms": 60, "closure_ms": 80, "window_ms": 200})
            bench.ok("put", preset=0, values=PRESET)
            if source == "host":
                bench.ok("arm")
                bench.ok("fire", shot=1, lead_ns=60 * MS, closure_ns=80 * MS, window_ns=200 * MS)
            else:
                bench.board.contacts["button_full"] = 1
            bench.run_ms(cut_ms)
            logged = sum(len(held) for held in bench.board.files.content.values())
            again = Bench(bench.board.files)
            two_bodies(again)
            again.run_ms(30)
            assert again.board.outputs_closed() == 0
            assert again.board.closures == []
            identity = again.ok("identify")
            assert identity["boot"] == 2
            assert again.ok("status")["state"] == "idle"
            assert again.fault_codes() == []
            log = again.ok("framelog")
            # A frame that was fired has its place: whole, or begun and counted as damaged.
            assert log["damaged"] in (0, 1)
            assert log["entries"] >= log["damaged"]
            if source == "host":
                assert log["entries"] == 0
            elif cut_ms > 20:
                assert log["entries"] == 1, (cut_ms, logged)
    assert log["damaged"] == 0


def test_a_watchdog_restart_is_told_and_on_record():
    bench = Bench(reset_cause="watchdog")
    bench.step(2)
    assert bench.fault_codes() == ["reset"]
    record = bench.ok("crash")["crash"]
    assert record["doing"] == "watchdog"
    assert "stopped" in record["text"]
    # The record outlives the next start, which was an ordinary one.
    again = Bench(bench.board.files)
    again.step(2)
    assert again.fault_codes() == []
    assert again.ok("crash")["crash"] == record
    # A first crash is not painted over by the watchdog that came of it.
    crashed = Bench()
    crashed.board.raise_in["read_edges"] = ValueError("first")
    crashed.step(2)
    after = Bench(crashed.board.files, reset_cause="watchdog")
    assert "first" in after.ok("crash")["crash"]["text"]


def _heap(what):
    """MicroPython's function that locks or unlocks its heap; elsewhere one that does nothing."""
    try:
        import micropython
    except ImportError:
        return lambda: None
    return getattr(micropython, "heap_" + what)


# Found once: looking for them would need memory.
LOCK = _heap("lock")
UNLOCK = _heap("unlock")


class OpensWithoutMemory(StandInBoard):
    """`ensure_open` of a board needs no memory; what the stand-in writes down about it may have some."""

    locked = False

    def ensure_open(self):
        if not self.locked:
            return super().ensure_open()
        UNLOCK()
        super().ensure_open()
        LOCK()
        return None


def locked(bench):
    """One step of the loop that can allocate nothing. Only where the interpreter can be told so."""
    bench.board.locked = True
    LOCK()
    try:
        return bench.box.step()
    finally:
        UNLOCK()
        bench.board.locked = False


def exhausted_at(step, can_lock):
    """A shot during which, at one step, there is no memory. The bench afterwards."""
    bench = Bench(board_class=OpensWithoutMemory)
    two_bodies(bench)
    bench.ok("put", values={"min_interval_ms": 100})
    bench.ok("arm")
    bench.ok("fire", shot=1, lead_ns=60 * MS, closure_ns=80 * MS, window_ns=200 * MS)
    for _ in range(step):
        bench.board.idle(bench.box.step())
    if can_lock:
        bench.board.idle(locked(bench))
    else:
        bench.board.raise_in["read_edges"] = MemoryError()
        bench.board.idle(bench.box.step())
    return bench


def test_memory_exhausted_at_every_step_of_a_shot():
    # On MicroPython the heap is locked for the step; elsewhere the first thing that could allocate raises.
    can_lock = sys.implementation.name == "micropython"
    failed = 0
    for step in range(0, 120, 1 if can_lock else 4):
        bench = exhausted_at(step, can_lock)
        crashed = bench.box.crash.since_boot or bench.board.resets
        if crashed:
            failed += 1
            assert bench.board.outputs_closed() == 0, step
            assert not bench.box.guard.armed, step
        for _ in range(20):
            bench.board.idle(bench.box.step())
        bench._listen()
        if crashed and not bench.board.resets:
            assert bench.ok("crash")["crash"] is not None, step
        if step % 4 == 0:
            fires_again(bench)
    assert failed > 10
