"""The box: everything together, and the loop with its priorities.

main.py calls `board.idle(box.step())` for ever. A step never waits and never raises.
"""

import gc

from . import lights, shots
from .commands import Commands
from .crash import CrashRecord, count_boot
from .events import EventBuffer
from .field import Field
from .framelog import FrameLog
from .lights import Lights
from .link import Link
from .safety import SAY, Guard
from .settings import Settings
from .units import const, ticks_to_ms_up
from .watch import Watch
from .wire import Refused

_STEP_MOST_MS = const(100)
_REQUESTS_A_STEP = const(4)
_CRASHES_UNTIL_RESET = const(8)  # as many failures since boot: start afresh
LEAVES_MS = 300  # from the request for rescue mode to the restart: the reply goes out first


class Box:
    """The whole application on one board. Public attributes are its parts; commands and field use them.
    `ring` is the memory of the event buffer where the board has taken it early."""

    def __init__(self, board, ring=None):
        board.ensure_open()
        self.board = board
        self.boot = count_boot(board.files)
        self.settings = Settings(board.files)
        self.crash = CrashRecord(board.files)
        self.framelog = FrameLog(board.files)
        self.events = EventBuffer(ring=ring)
        self.guard = Guard(board)
        self.shot = shots.Shot(board)
        self.watch = Watch(board, self.events)
        self.lights = Lights(board)
        self.link = Link(board, self.events)
        self.field = Field(self)
        self.commands = Commands(self)
        self.wound = False
        self.last_shot = 0  # number of the last pair the host fired, 0 when forgotten
        self._shot_event = 0  # sequence number of its `shot` event, 0 while there is none
        self._next_shot_ms = 0
        self._leaves_ms = -1  # when the box restarts into rescue mode, -1 while nobody has asked
        # Bound once: a bound method made in the loop is garbage.
        self._of_shot = self.shot.take
        self._of_watch = self.watch.keep
        self._of_nobody = self._stray
        self._say_how_it_started()

    def _say_how_it_started(self):
        now = self.board.millis()
        self.lights.show(lights.BOOT, now)
        cause = self.board.identity().get("reset_cause")
        if cause == "watchdog":
            say = "The box had stopped and its watchdog restarted it."
            self.fault("reset", say)
            self.crash.note(self.boot, now, "watchdog", say)
        if self.boot == 0:
            self.fault("flash", "The box's flash is full or fails: it runs, and nothing new can be stored.")
        if not self.settings.ok:
            self.fault("settings", self.settings.say)
            self.lights.then(lights.DAMAGED)

    # -- the loop -----------------------------------------------------------------------------

    def step(self):
        """Do what is due. Milliseconds until the next step is needed, 0 for at once, at most _STEP_MOST_MS."""
        try:
            return self._step()
        except Exception as error:  # noqa: BLE001 - outputs open and on with it, whatever happened
            self.crashed(error)
            return 0

    def _step(self):
        board = self.board
        now = board.millis()
        # 1 safety
        board.feed_watchdog()
        self._check_safety(now)
        if self._leaves_ms >= 0:
            return self._leave(now)
        # 2 edges
        lost = board.read_edges(self._keeper())
        if lost:
            self._overrun(lost)
        if self.shot.busy:
            self._advance_shot(now)
        self.watch.advance(now)
        # 3 requests
        self._answer_requests(now)
        # 4 field
        self.field.advance(now)
        self.lights.advance(now)
        # 5 output
        self.events.tell_dropped()
        more_ms = self.link.send()
        if more_ms < 0 and not (self.shot.busy or self.guard.armed or self.watch.on or self.field.holding):
            self.framelog.look_on()
        return self._due_in(now, more_ms)

    def _due_in(self, now, more_ms):
        if self.link.reading or more_ms == 0:
            return 0
        due = min(_STEP_MOST_MS, self.field.due_in(now), self.lights.due_in(now), self.watch.due_in(now))
        if self.guard.armed:
            due = min(due, self.guard.due_in(now))
        if self.shot.busy:
            due = min(due, self.shot.due_in(now))
        if more_ms > 0:
            due = min(due, more_ms)
        return due

    # -- 1 safety -----------------------------------------------------------------------------

    def _check_safety(self, now):
        guard = self.guard
        if guard.read_interlock():
            self._interlock_opened(now)
        late = guard.overstayed(now)
        if late is not None:
            self._stop(now, "closure")
            self.fault("closure", SAY["closure"] % late)
        code = guard.expired(now)
        if code is not None:
            self._stop(now, code)
            self.fault(code, SAY[code])

    def _interlock_opened(self, now):
        self._stop(now, "interlock")
        self.fault("interlock", SAY["interlock"])

    def _stop(self, now, why):
        self.open_all(why)
        self.disarm(now, why)
        if why in ("interlock", "closure"):
            self.lights.show(lights.FAULT, now)

    def open_all(self, why):
        """All outputs open now, and nothing allowed to close."""
        self.board.ensure_open()
        self.shot.abort(why)
        self.field.drop()
        self.guard.withdraw()

    def interlock_closed_now(self, now):
        """The interlock, read at this moment and acted on when it has opened."""
        if self.guard.read_interlock():
            self._interlock_opened(now)
        return self.guard.interlock_closed

    def arm(self, now, timeout_ms):
        """The host may fire for so long."""
        self.guard.arm(now, timeout_ms)
        self.lights.show(lights.ARMED, now)

    def disarm(self, now, why):
        """The host may not fire; a shot of the host's that is under way is stopped."""
        if not self.guard.armed:
            return
        self.guard.disarm()
        if self.shot.busy and self.shot.source != shots.FIELD:
            self.open_all(why)
        self.lights.show(lights.DARK, now)

    def leave_for_rescue(self, now):
        """Nothing is asked, pressed or fired any more; the box restarts into rescue mode when its reply is out."""
        self.open_all("rescue")
        self._leaves_ms = now + LEAVES_MS

    def _leave(self, now):
        self.link.send()
        if now >= self._leaves_ms:
            self.board.ensure_open()
            self.board.rescue()
        return 1

    def fault(self, code, say):
        """Tell the host what went wrong."""
        self.events.put("fault", {"code": code, "say": say})

    def crashed(self, error):
        """Something raised that should not have: outputs open, shot given up, record kept."""
        self.board.ensure_open()
        self.guard.disarm()
        self.guard.withdraw()
        self.shot.end()
        self.events.release()
        self.field.drop()
        gc.collect()
        try:
            self.link.drop()
            self.crash.keep(error, self.boot, self.board.millis(), self.commands.doing or "loop")
            self.fault("exception", "The box failed inside; its crash record says where.")
            self.lights.show(lights.FAULT, self.board.millis())
        except Exception:  # noqa: BLE001 - no memory even to say so: start afresh
            self.board.reset()
        if self.crash.since_boot >= _CRASHES_UNTIL_RESET:
            self.board.reset()

    # -- 2 edges ------------------------------------------------------------------------------

    def _keeper(self):
        """Whose the edges are that are read now."""
        if self.shot.taking:
            return self._of_shot
        return self._of_watch if self.watch.on else self._of_nobody

    def _stray(self, channel, level, tick):
        self.shot.stray += 1

    def _overrun(self, lost):
        if self.shot.taking:
            self.shot.edges.lost += lost
        elif self.watch.on:
            self.watch.lose(lost)
        self.events.put("overrun", {"lost": lost})

    def room_for_shot(self):
        """Whether the event buffer could keep a shot with as many edges as there is room for."""
        return self.events.room_for(shots.BYTES_MOST, shots.LINES_MOST)

    def ms_until_next_shot(self, now):
        """Milliseconds of the minimum interval that are left."""
        return max(0, self._next_shot_ms - now)

    def fire_pair(self, number, source, delay_a, delay_b, lead, closure, window, now):
        """Fire a pair whose permission has been checked. Times in ticks."""
        self._prepare(source)
        closing = ticks_to_ms_up(lead + max(delay_a, delay_b) + closure, self.board.tick_hz)
        self.guard.permit(closing, ticks_to_ms_up(closure, self.board.tick_hz))
        if source == shots.HOST:
            self.guard.keep_armed_until(now + closing + 1)
            self._shot_event = 0
        self._next_shot_ms = now + self.settings.values["min_interval_ms"]
        self.wound = False
        self.shot.fire_pair(number, source, delay_a, delay_b, lead, closure, window)

    def fire_pulse(self, output, closure, window, now):
        """Close one output once. Times in ticks."""
        self._prepare(shots.PULSE)
        closing = ticks_to_ms_up(closure, self.board.tick_hz)
        self.guard.permit(closing, closing)
        self.guard.keep_armed_until(now + closing + 1)
        self.wound = False  # a click may have fired a body
        self.shot.fire_pulse(output, closure, window)

    def _prepare(self, source):
        # What came before the shot is not the shot's; what of it has not been read yet is told by its tick.
        self.board.read_edges(self._keeper())
        self.watch.end_group()
        if source != shots.FIELD:
            self.events.reserve(shots.BYTES_MOST, shots.LINES_MOST)

    def _advance_shot(self, now):
        shot = self.shot
        if shot.advance(now):
            self.guard.withdraw()
            if shot.source == shots.FIELD:
                shot.end()
                self.field.completed(now)
        elif shot.state == shots.TELLING:
            # The room kept for this shot is its own; what is left of it stays kept.
            self.events.release()
            if not shot.tell(self.events):
                lines = shot.lines_left()
                self.events.reserve(shots.bytes_of(lines), lines)
            elif shot.source == shots.HOST:
                self._shot_event = self.events.last

    def shot_is_unread(self):
        """Whether the host may still have to learn that its last shot was fired."""
        return self._shot_event > 0 and self.events.holds(self._shot_event)

    def forget_shot_number(self):
        """Numbers may begin anew, unless the host may still have to learn that the last shot was fired."""
        if self.shot.busy or self.shot_is_unread():
            return
        self.last_shot = 0

    def take_wound(self, by_box):
        """The person says both bodies are wound: one shot of a manual-wind rig is allowed."""
        if self.shot.busy:
            return
        self.wound = True
        if by_box:
            self.events.put("wound", {"by": "box"})

    # -- 3 requests ---------------------------------------------------------------------------

    def _answer_requests(self, now):
        for _ in range(_REQUESTS_A_STEP):
            found = self.link.next_requests()
            if found is None:
                return
            self._answer(found, now)

    def _answer(self, found, now):
        for record in found:
            if isinstance(record, Refused):
                self.link.reply({"re": None, "error": "bad_line", "say": record.why})
            else:
                self.guard.heard(now)
                self.link.reply(self.commands.answer(record, now))
