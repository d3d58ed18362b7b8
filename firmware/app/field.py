"""Alone in the field: the photographer's button fires, every frame is read, shown and logged.

Nothing here fires by time: each pair needs its own press, and where a body is wound by hand its own
'wound' as well.
"""

from . import lights
from .buttons import LOOK_MS, PRESSED, Button
from .messages import FRAME_VERDICTS, MS
from .safety import HALF_MOST_MS
from .shots import FIELD
from .units import const, ns_to_ticks
from .verdict import read_frame

_PRESET_SETTLES_MS = const(3000)  # the chosen preset is written to flash when the person has stopped choosing
_POLL_MS = const(4)  # while a contact settles
_REST_POLL_MS = const(8)  # while none has moved: the shortest press of a finger is several times that
_SLOW_POLL_MS = const(50)  # while the laptop has the box and no press is waited for


class Field:
    """The four contacts of the box and what they do. `box` is app.box.Box."""

    def __init__(self, box):
        self._box = box
        board = box.board
        self._buttons = [Button(bool(board.pressed(name))) for name in PRESSED]
        self._look = -1  # which were pressed when last looked at, a bit each
        self._settling = False
        self._half, self._full, self._wound, self._choose = self._buttons
        self._fired = None  # type: dict | None  # the preset at the press: the log writes this one
        self._held = False  # the halves follow the finger now
        self._held_since_ms = 0
        self._spent = False  # the finger has been down too long: it must let go first
        self.preset_place = box.settings.values["preset"]
        self._store_ms = -1

    @property
    def holding(self):
        """Whether the half-press outputs follow the finger now."""
        return self._held

    def advance(self, now):
        """Read the contacts and act on them: first on what they did while the loop was held up."""
        board = self._box.board
        looks = board.missed_looks()
        if looks:
            self._look_back(looks, now)
        look = 0
        bit = 1
        for name in PRESSED:
            if board.pressed(name):
                look |= bit
            bit <<= 1
        fire = (look != self._look or self._settling) and self._act(look, now, now)
        self._follow_half(now)
        if fire:
            self._fire(now)
        if 0 <= self._store_ms <= now and not self._box.shot.busy:
            self._store_preset()

    def _look_back(self, looks, now):
        """What the contacts did while the loop was held up, in its order, acted on now."""
        seen_ms = now - LOOK_MS * len(looks)
        for look in looks:
            if self._act(look, seen_ms, now):
                self._fire(now)
            seen_ms += LOOK_MS

    def _act(self, look, seen_ms, now):
        """The contacts as they were at a moment; True when full-press has just been pressed."""
        self._look = look
        half = self._half.changed(bool(look & 1), seen_ms)
        full = self._full.changed(bool(look & 2), seen_ms)
        if self._wound.changed(bool(look & 4), seen_ms) == 1:
            self._box.take_wound(by_box=True)
        choose = self._choose.changed(bool(look & 8), seen_ms)
        if choose == 1:
            self._next_preset(now)
        if (half or full or choose) and self._box.guard.host_present(now):
            down = {
                "half": int(self._half.down),
                "full": int(self._full.down),
                "preset": int(self._choose.down),
            }
            self._box.events.put("press", down)
        self._settling = False
        for button in self._buttons:
            if button.settling:
                self._settling = True
        return full == 1

    def due_in(self, now):
        """Milliseconds until the contacts must be read again."""
        if self._settling:
            return _POLL_MS
        return _SLOW_POLL_MS if self._box.guard.armed or self._box.watch.on else _REST_POLL_MS

    def drop(self):
        """The outputs were opened: nothing is held any more, and the finger must come up first."""
        self._held = False
        self._spent = True

    def _may_fire(self):
        box = self._box
        if box.guard.armed or box.watch.on:
            return False
        return box.settings.usable and box.settings.values["field"] == 1

    def _interlock_allows(self):
        return self._box.guard.interlock_closed and self._box.guard.interlock_proved

    def _follow_half(self, now):
        down = self._half.down or self._full.down
        if not down:
            self._spent = False
        wanted = down and not self._spent and self._may_fire() and self._interlock_allows()
        if self._box.shot.busy:
            return
        if self._held and (not wanted or now - self._held_since_ms >= HALF_MOST_MS):
            self._spent = down
            self._let_go()
        elif wanted and not self._held:
            self._held = True
            self._held_since_ms = now
            self._box.guard.permit(HALF_MOST_MS, 0)
            self._box.board.hold_half(True)

    def _let_go(self):
        self._held = False
        self._box.board.hold_half(False)
        self._box.guard.withdraw()

    def _fire(self, now):
        box = self._box
        if not box.settings.usable:
            box.lights.show(lights.DAMAGED, now)
            return
        if not self._may_fire() or box.shot.busy or box.ms_until_next_shot(now):
            box.lights.show(lights.REFUSED, now)
            return
        if not self._interlock_allows():
            box.lights.show(lights.FAULT, now)
            return
        if box.settings.values["manual_wind"] and not box.wound:
            box.lights.show(lights.NOT_WOUND, now)
            return
        values = box.settings.values
        preset = self.preset()
        self._fired = preset
        delay_a = preset["delay_a_ns"] if preset else 0
        delay_b = preset["delay_b_ns"] if preset else 0
        lead_ms = values["lead_ms"]
        if self._held:
            # The finger has held the halves for part of the lead already.
            lead_ms = max(0, lead_ms - (now - self._held_since_ms))
        self._held = False
        hz = box.board.tick_hz
        box.fire_pair(
            0,
            FIELD,
            ns_to_ticks(delay_a, hz),
            ns_to_ticks(delay_b, hz),
            ns_to_ticks(lead_ms * MS, hz),
            ns_to_ticks(values["closure_ms"] * MS, hz),
            ns_to_ticks(values["window_ms"] * MS, hz),
            now,
        )
        # The loop may stand for half a second while flash is written: what the last pair left playing must not freeze.
        box.lights.show(lights.DARK, now)
        box.framelog.begin()

    def completed(self, now):
        """A frame of the field is complete: read it, log it, show it."""
        box = self._box
        preset = self._fired
        # A shot that was stopped says nothing about the bodies.
        reading = read_frame(box.shot.edges, None if box.shot.aborted else preset, box.board.tick_hz)
        logged = box.framelog.finish(
            box.boot, box.shot.started_ms, preset["name"] if preset else "", reading, preset
        )
        box.lights.show(FRAME_VERDICTS[reading.verdict], now)
        if not logged:
            box.lights.then(lights.LOG_FULL)

    # -- presets ------------------------------------------------------------------------------

    def preset(self):
        """The preset in use, or None."""
        return self._box.settings.presets[self.preset_place]

    def settings_changed(self):
        """The host stored other settings: go by them."""
        self.preset_place = self._box.settings.values["preset"]
        self._store_ms = -1

    def _next_preset(self, now):
        box = self._box
        if box.shot.busy or not self._may_fire():
            box.lights.show(lights.REFUSED, now)
            return
        self.preset_place = box.settings.next_preset_place(self.preset_place)
        self._store_ms = now + _PRESET_SETTLES_MS
        box.lights.show_preset(self.preset_place + 1, now)

    def _store_preset(self):
        self._store_ms = -1
        if self.preset_place != self._box.settings.values["preset"]:
            try:
                self._box.settings.put_values({"preset": self.preset_place})
            except OSError:
                self._box.fault("flash", "The chosen preset could not be stored: it holds until power-off.")
