"""A board for the firmware's tests: virtual time, releases that really close and open, bodies that answer,
flash that can be cut off, a serial line with a host on it. Runs on CPython and on MicroPython.

It has behaviour: what the firmware closes shows up as edges, what it writes can be read back, and time passes
only through `idle`.
"""

from heapq import heappop, heappush

from coincide_firmware.app.box import Box
from coincide_firmware.app.buttons import LOOK_MS, PRESSED
from coincide_firmware.app.pins import FULL_A, FULL_B, HALF_A, HALF_B, SYNC_A, SYNC_B
from coincide_firmware.app.wire import LineReader, Refused, encode

TICK_HZ = 125000000
TICKS_A_MS = TICK_HZ // 1000
SERIAL_READ_BYTES = 256  # what a USB serial port hands over at a time
OUTPUT_CHANNELS = (HALF_A, FULL_A, HALF_B, FULL_B)


class PowerCut(Exception):
    """The power went while flash was being written."""


class Flash:
    """Files in memory. `cut_after`: so many more bytes reach the flash, then the power goes. `fail`: every
    write raises OSError. `written` counts bytes by file name."""

    def __init__(self, capacity=900000):
        self.content = {}
        self.capacity = capacity
        self.cut_after = -1
        self.fail = False
        self.written = {}

    def _spend(self, name, data):
        if self.fail:
            raise OSError(5)
        kept = len(data)
        if self.cut_after >= 0:
            kept = min(kept, self.cut_after)
            self.cut_after -= kept
        self.written[name] = self.written.get(name, 0) + kept
        return kept

    def read(self, name):
        found = self.content.get(name)
        return None if found is None else bytes(found)

    def read_at(self, name, at, count):
        return bytes(self.content.get(name, b"")[at : at + count])

    def size(self, name):
        return len(self.content.get(name, b""))

    def append(self, name, data):
        kept = self._spend(name, data)
        self.content[name] = bytearray(self.content.get(name, b"")) + data[:kept]
        if kept < len(data):
            raise PowerCut()
        if self.free_bytes() < 0:
            self.content[name] = self.content[name][: -len(data)]
            raise OSError(28)

    def replace(self, name, data):
        kept = self._spend(name, data)
        self.content[name] = bytearray(data[:kept])
        if kept < len(data):
            raise PowerCut()

    def remove(self, name):
        if self.fail:
            raise OSError(5)
        if self.cut_after == 0:
            raise PowerCut()
        self.content.pop(name, None)

    def names(self):
        return list(self.content)

    def free_bytes(self):
        return self.capacity - sum(len(held) for held in self.content.values())


class StandInBoard:
    """The board of the contract. Times inside are ticks since power-on.

    `bodies`: two functions (tick of full-press) -> list of (channel, level, tick), or None for a body that
    does not answer. `hardware_stuck`: closures no longer end by themselves. `serial_room`: bytes the port
    takes a call.
    """

    def __init__(self, files=None, reset_cause="power"):
        self.tick_hz = TICK_HZ
        self.files = files if files is not None else Flash()
        self.reset_cause = reset_cause
        self.now = 0
        # A hand shows the interlock open as the box starts and closes it at once.
        self.interlock = True
        self.interlock_shown = False
        self.contacts = {"button_half": 0, "button_full": 0, "wound": 0, "preset": 0}
        self.bodies = [None, None]  # type: list
        self.hardware_stuck = False
        self.serial_room = 1 << 30
        self.raise_in = {}
        self.lost = 0
        self.led = (0, 0)
        self.led_log = []
        self.lamp_runs = []
        self.fed = 0
        self.resets = 0
        self.rescues = 0
        self.pairs = 0
        self.held = 15  # outputs that a pull-down holds
        self.closures = []  # (output, from tick, to tick), of every closure that has ended
        self._arrived = b""
        self._taken = 0
        self.sent = bytearray()
        self._pending = []  # a heap of (tick, order, kind, what): edges of bodies, changes of outputs
        self._order = 0
        self._edges = []
        self.batch = 100000  # edges a reading hands over at most
        self._missed = []  # looks at the contacts while flash held the loop up
        self._closed = [0, 0, 0, 0]
        self._closed_at = [0, 0, 0, 0]

    # -- virtual time -------------------------------------------------------------------------

    def at(self, tick, kind, what):
        self._order += 1
        heappush(self._pending, (tick, self._order, kind, what))

    def schedule_edge(self, channel, level, tick):
        """An edge the sampler will see."""
        self.at(tick, 0, (channel, level))

    def _advance_to(self, tick):
        while self._pending and self._pending[0][0] <= tick:
            when, _, kind, what = heappop(self._pending)
            self.now = max(self.now, when)
            if kind == 0:
                self._edges.append((what[0], what[1], when))
            elif kind == 1:
                self._set_output(what[0], what[1], when)
        self.now = max(self.now, tick)

    def idle(self, ms):
        """Time passes: `ms`, or until an edge comes, if that is sooner. At least a tenth of a millisecond."""
        target = self.now + max(TICKS_A_MS // 10, ms * TICKS_A_MS)
        if self._pending and self._pending[0][0] < target:
            target = max(self.now + 1, self._pending[0][0])
        self._advance_to(target)

    def _set_output(self, output, closed, tick):
        if closed and not self.interlock:
            return
        if self._closed[output] == closed:
            return
        self._closed[output] = closed
        self._edges.append((OUTPUT_CHANNELS[output], closed, tick))
        if closed:
            self._closed_at[output] = tick
            if output in (1, 3):
                answer = self.bodies[output // 2]
                if answer is not None:
                    for channel, level, when in answer(tick):
                        self.schedule_edge(channel, level, when)
        else:
            self.closures.append((output, self._closed_at[output], tick))

    # -- the contract -------------------------------------------------------------------------

    # What `raise_in` may name: every method but `ensure_open`, which never raises, and the plain clocks.
    FAILING = (
        "read_edges",
        "edges_waiting",
        "start_pair",
        "start_pulse",
        "hold_half",
        "pull_downs_held",
        "outputs_busy",
        "interlock_closed",
        "pressed",
        "missed_looks",
        "lights",
        "run_lamps",
        "serial_read",
        "serial_write",
    )

    def _may_raise(self, name):
        if name in self.raise_in:
            raise self.raise_in.pop(name)

    def identity(self):
        return {
            "board": "stand-in",
            "chip": "none",
            "uid": "0000000000000000",
            "micropython": "1.27.0",
            "clock_hz": TICK_HZ,
            "reset_cause": self.reset_cause,
            "simulated": True,
        }

    def millis(self):
        return self.now // TICKS_A_MS

    def tick(self):
        return self.now

    def read_edges(self, sink):
        self._may_raise("read_edges")
        edges = self._edges[: self.batch]
        self._edges = self._edges[self.batch :]
        for channel, level, tick in edges:
            sink(channel, level, tick)
        lost = self.lost
        self.lost = 0
        return lost

    def edges_waiting(self):
        self._may_raise("edges_waiting")
        return bool(self._edges)

    def start_pair(self, delay_a, delay_b, lead, closure):
        self._may_raise("start_pair")
        self.pairs += 1
        if not self.interlock:
            return
        now = self.now
        for body, delay in ((0, delay_a), (1, delay_b)):
            self._set_output(2 * body, 1, now)
            self.at(now + lead + delay, 1, (2 * body + 1, 1))
            if not self.hardware_stuck:
                self.at(now + lead + delay + closure, 1, (2 * body + 1, 0))
                self.at(now + lead + delay + closure, 1, (2 * body, 0))

    def start_pulse(self, output, closure):
        self._may_raise("start_pulse")
        if not self.interlock:
            return
        self._set_output(output, 1, self.now)
        self.at(self.now + closure, 1, (output, 0))

    def hold_half(self, closed):
        self._may_raise("hold_half")
        for output in (0, 2):
            self._set_output(output, 1 if closed else 0, self.now)

    def pull_downs_held(self):
        self._may_raise("pull_downs_held")
        assert not self.interlock, "pins given up with the interlock closed"
        assert self.outputs_closed() == 0, "pins given up with an output closed"
        return self.held

    def outputs_busy(self):
        self._may_raise("outputs_busy")
        return any(kind == 1 for _, _, kind, _ in self._pending)

    def closed_since(self, output):
        """Tick at which a closed output closed."""
        return self._closed_at[output]

    def outputs_closed(self):
        return self._closed[0] | self._closed[1] << 1 | self._closed[2] << 2 | self._closed[3] << 3

    def ensure_open(self):
        self._pending = [entry for entry in self._pending if entry[2] != 1]
        for output in range(4):
            self._set_output(output, 0, self.now)

    def interlock_closed(self):
        self._may_raise("interlock_closed")
        if not self.interlock_shown:
            self.interlock_shown = True
            return False
        return self.interlock

    def open_interlock(self):
        """The interlock opens; the release hardware opens the outputs by itself."""
        self.interlock = False
        if not self.hardware_stuck:
            self.ensure_open()

    def pressed(self, name):
        self._may_raise("pressed")
        return self.contacts[name]

    def missed_looks(self):
        self._may_raise("missed_looks")
        looks = bytes(self._missed)
        self._missed = []
        return looks

    def hold_up(self, looks):
        """The loop stands for as many looks at the contacts (each a set of names), 4 ms apart."""
        for pressed in looks:
            self._advance_to(self.now + LOOK_MS * TICKS_A_MS)
            for name in PRESSED:
                self.contacts[name] = int(name in pressed)
            self._missed.append(sum([1 << n for n in range(4) if PRESSED[n] in pressed]))

    def lights(self, ok, out):
        self._may_raise("lights")
        self.led = (ok, out)
        self.led_log.append((self.millis(), ok, out))

    def run_lamps(self, lamps, step_ticks, rows):
        self._may_raise("run_lamps")
        self.lamp_runs.append((lamps, step_ticks, rows))

    def serial_read(self):
        self._may_raise("serial_read")
        arrived = self._arrived[self._taken : self._taken + SERIAL_READ_BYTES]
        self._taken += len(arrived)
        if self._taken == len(self._arrived):
            self._arrived = b""
            self._taken = 0
        return arrived

    def serial_write(self, data):
        self._may_raise("serial_write")
        taken = min(len(data), self.serial_room)
        self.sent += data[:taken]
        return taken

    def feed_watchdog(self):
        self.fed += 1

    def reset(self):
        self.resets += 1

    def rescue(self):
        self.rescues += 1

    @property
    def unread(self):
        """Bytes from the host that the box has not taken yet."""
        return len(self._arrived) - self._taken

    # -- the host at the other end ------------------------------------------------------------

    def arrive(self, data):
        """Bytes from the host."""
        self._arrived += data


class Bench:
    """A box on a stand-in board, with a host that can ask and listen."""

    def __init__(self, files=None, reset_cause="power", held=(), board_class=StandInBoard):
        self.board = board_class(files, reset_cause)
        for name in held:
            self.board.contacts[name] = 1
        self.box = Box(self.board)
        self.reader = LineReader()
        self.events = []
        self.replies = []
        self.next_id = 1

    def step(self, count=1):
        for _ in range(count):
            self.board.idle(self.box.step())
        self._listen()

    def _listen(self):
        sent = bytes(self.board.sent)
        self.board.sent = bytearray()
        for record in self.reader.feed(sent):
            assert not isinstance(record, Refused), record
            if "ev" in record:
                self.events.append(record)
            else:
                self.replies.append(record)

    def run_ms(self, ms):
        """Let time pass."""
        end = self.board.now + ms * TICKS_A_MS
        while self.board.now < end:
            due = self.box.step()
            left = (end - self.board.now + TICKS_A_MS - 1) // TICKS_A_MS
            self.board.idle(min(due, left))
        self._listen()

    def ask(self, verb, **fields):
        """The reply to one request."""
        number = self.next_id
        self.next_id += 1
        fields["id"] = number
        fields["do"] = verb
        self.board.arrive(encode(fields))
        for _ in range(50):
            self.step()
            for reply in self.replies:
                if reply["re"] == number:
                    self.replies.remove(reply)
                    return reply
        raise AssertionError("no answer to " + verb)

    def ok(self, verb, **fields):
        """The answer to a request that must be granted."""
        reply = self.ask(verb, **fields)
        assert "ok" in reply, reply
        return reply["ok"]

    def refused(self, verb, **fields):
        """The error code of a request that must be refused."""
        reply = self.ask(verb, **fields)
        assert "error" in reply, reply
        return reply["error"]

    def events_of(self, kind):
        return [event for event in self.events if event["is"] == kind]

    def fault_codes(self):
        return [event["code"] for event in self.events_of("fault")]

    def press(self, name, ms=60):
        """Press a contact for so long, and let go."""
        self.board.contacts[name] = 1
        self.run_ms(ms)
        self.board.contacts[name] = 0
        self.run_ms(60)


def contact(channel, lag_ms, closed_ms=20):
    """A body whose sync contact closes `lag_ms` after full-press."""

    def answer(full):
        closes = full + int(lag_ms * TICKS_A_MS)
        return [(channel, 1, closes), (channel, 0, closes + int(closed_ms * TICKS_A_MS))]

    return answer


def two_bodies(bench, lag_a_ms=40, lag_b_ms=45):
    """Both bodies answer with their sync contacts."""
    bench.board.bodies = [contact(SYNC_A, lag_a_ms), contact(SYNC_B, lag_b_ms)]
