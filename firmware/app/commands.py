"""One handler for each verb. A handler takes the checked fields and the whole request and answers a dict, or
raises Refusal with a code of error_words.ERRORS."""

from .messages import PROTOCOL, REQUESTS, check_fields
from .pins import CHANNELS
from .shots import HOST, IDLE, STATE_NAMES
from .units import const, ns_to_ms_up, ns_to_ticks
from .version import FIRMWARE_VERSION

_ID_MOST = const(1 << 53)
_PULSE_WINDOW_NS = const(100000000)
# A line of the wire holds 1024 bytes; a page of the frame log stops before it.
_PAGE_BYTES_MOST = const(800)


class Refusal(Exception):
    """A request that is answered with an error."""

    def __init__(self, code, say=None, more=None):
        super().__init__(code)
        self.code = code
        self.say = say
        self.more = more or {}


class Commands:
    """`answer` turns one record of the line into one reply. `box` is app.box.Box."""

    def __init__(self, box):
        self._box = box
        self.doing = None  # type: str | None

    def answer(self, record, now):
        """The reply to one record (a dict). Never raises for what the line may hold."""
        number = record.get("id")
        if isinstance(number, bool) or not isinstance(number, int) or not 0 <= number <= _ID_MOST:
            return _refused(None, "bad_field", "A request needs an 'id', a whole number from 0 to 2^53.")
        verb = record.get("do")
        if not isinstance(verb, str) or verb not in REQUESTS:
            return _refused(number, "unknown_verb")
        fields, say = check_fields(verb, record)
        if fields is None:
            return _refused(number, "bad_field", say)
        self.doing = verb
        try:
            reply = {"re": number, "ok": getattr(self, "_do_" + verb)(fields, record, now)}
        except Refusal as refusal:
            reply = _refused(number, refusal.code, refusal.say)
            reply.update(refusal.more)
        except OSError:
            reply = _refused(number, "flash")
        except Exception as error:  # noqa: BLE001 - the box answers, whatever happened inside
            self._box.crashed(error)
            reply = _refused(number, "failed")
        self.doing = None
        return reply

    # -- who and how --------------------------------------------------------------------------

    def _do_identify(self, fields, record, now):
        box = self._box
        box.forget_shot_number()
        return {
            "name": "coincide box",
            "protocol": PROTOCOL,
            "firmware": FIRMWARE_VERSION,
            "boot": box.boot,
            "tick_hz": box.board.tick_hz,
            "channels": list(CHANNELS),
            "board": box.board.identity(),
            "settings_ok": box.settings.ok,
            "presets": box.settings.preset_names(),
            "framelog": box.framelog.summary(),
            "crash": box.crash.record is not None,
        }

    def _do_status(self, fields, record, now):
        box = self._box
        state = STATE_NAMES[box.shot.state]
        if box.shot.state == IDLE and box.guard.armed:
            state = "armed"
        return {
            "state": state,
            "armed_ms": box.guard.armed_ms(now),
            "interlock": box.guard.interlock_closed,
            "outputs": box.board.outputs_closed(),
            "watching": box.watch.on,
            "shot": box.last_shot,
            "wound": box.wound,
            "unread": box.events.unread,
            "last_event": box.events.last,
            "dropped": box.events.dropped,
            "stray": box.shot.stray,
            "wait_ms": box.ms_until_next_shot(now),
            "preset": box.field.preset_place,
            "unlogged": box.framelog.unlogged,
            "crashes": box.crash.since_boot,
            "boot": box.boot,
            "ms": now,
        }

    # -- settings -----------------------------------------------------------------------------

    def _do_get(self, fields, record, now):
        settings = self._box.settings
        if fields["preset"] >= 0:
            return {"preset": fields["preset"], "values": settings.presets[fields["preset"]]}
        return {
            "values": settings.values,
            "presets": settings.preset_names(),
            "ok": settings.ok,
            "say": settings.say,
        }

    def _do_put(self, fields, record, now):
        box = self._box
        if box.shot.busy:
            raise Refusal("busy")
        values = record.get("values")
        place = fields["preset"]
        if place >= 0:
            if values is not None and not isinstance(values, dict):
                raise Refusal(
                    "bad_field", "'put' of a preset needs 'values': an object, or null to empty it."
                )
            say = box.settings.put_preset(place, values)
        elif isinstance(values, dict):
            say = box.settings.put_values(values)
        else:
            raise Refusal("bad_field", "'put' needs 'values', an object.")
        if say is not None:
            raise Refusal("bad_field", say)
        box.field.settings_changed()
        return self._do_get(fields, record, now)

    # -- firing -------------------------------------------------------------------------------

    def _do_arm(self, fields, record, now):
        box = self._box
        if not box.guard.interlock_closed:
            raise Refusal("interlock")
        if not box.guard.interlock_proved:
            raise Refusal("interlock_unseen")
        if not box.guard.armed:
            if box.shot.busy or box.field.holding:
                raise Refusal("busy", "The photographer's button has the box; let it go and arm again.")
            box.forget_shot_number()
        box.arm(now, fields["timeout_ms"])
        return {"armed_ms": fields["timeout_ms"]}

    def _do_disarm(self, fields, record, now):
        self._box.disarm(now, "disarmed")
        self._box.forget_shot_number()
        return {}

    def _do_ensure_open(self, fields, record, now):
        self._box.disarm(now, "ensure_open")
        self._box.open_all("ensure_open")
        return {"outputs": self._box.board.outputs_closed()}

    def _do_fire(self, fields, record, now):
        box = self._box
        shot = fields["shot"]
        if shot == box.last_shot:
            return {"shot": shot, "again": True}
        if shot < box.last_shot:
            raise Refusal("bad_field", "Shot numbers rise while armed; the last was %d." % box.last_shot)
        self._check_may_close(now)
        wait_ms = box.ms_until_next_shot(now)
        if wait_ms:
            raise Refusal("busy", "Too soon after the last shot: wait %d ms." % wait_ms, {"wait_ms": wait_ms})
        if box.settings.values["manual_wind"] and not box.wound:
            raise Refusal("not_wound")
        hz = box.board.tick_hz
        box.last_shot = shot
        box.fire_pair(
            shot,
            HOST,
            ns_to_ticks(fields["delay_a_ns"], hz),
            ns_to_ticks(fields["delay_b_ns"], hz),
            ns_to_ticks(fields["lead_ns"], hz),
            ns_to_ticks(fields["closure_ns"], hz),
            ns_to_ticks(fields["window_ns"], hz),
            now,
        )
        return {"shot": shot, "again": False}

    def _do_pulse(self, fields, record, now):
        self._check_may_close(now)
        hz = self._box.board.tick_hz
        self._box.fire_pulse(
            fields["output"], ns_to_ticks(fields["closure_ns"], hz), ns_to_ticks(_PULSE_WINDOW_NS, hz), now
        )
        return {"output": fields["output"]}

    def _check_may_close(self, now):
        box = self._box
        if not box.guard.armed:
            raise Refusal("not_armed")
        if not box.interlock_closed_now(now):
            raise Refusal("interlock")
        if box.shot.busy:
            raise Refusal("busy")
        if not box.room_for_shot():
            raise Refusal("unread")

    def _do_wound(self, fields, record, now):
        if self._box.shot.busy:
            raise Refusal("busy")
        self._box.take_wound(by_box=False)
        return {}

    def _do_lamps(self, fields, record, now):
        box = self._box
        if box.shot.busy:
            raise Refusal("busy")
        step = ns_to_ticks(fields["step_ns"], box.board.tick_hz)
        box.board.run_lamps(fields["lamps"], step, fields["rows"])
        # The row began just before: the host tells lags by it, to a fraction of a millisecond.
        return {"lamps": fields["lamps"], "step": step, "rows": fields["rows"], "tick": box.board.tick()}

    def _do_pull_downs(self, fields, record, now):
        box = self._box
        if box.interlock_closed_now(now):
            raise Refusal("interlock_closed")
        if box.guard.armed or box.shot.busy or box.field.holding or box.watch.on:
            raise Refusal("busy")
        try:
            return {"held": box.board.pull_downs_held()}
        finally:
            box.open_all("pull_downs")

    def _do_rescue(self, fields, record, now):
        box = self._box
        if fields["boot"] != box.boot:
            raise Refusal("bad_field", "'rescue' needs the number of this boot in 'boot': %d." % box.boot)
        if box.guard.armed or box.shot.busy or box.field.holding or box.board.outputs_closed():
            raise Refusal("busy", "The box is armed or a release is closed: disarm it, then ask again.")
        if box.shot_is_unread():
            raise Refusal("unread")
        box.leave_for_rescue(now)
        return {"boot": box.boot}

    # -- listening, and what was heard --------------------------------------------------------

    def _do_watch(self, fields, record, now):
        box = self._box
        if not fields["on"]:
            box.watch.stop()
            return {"on": 0}
        if box.field.holding or box.shot.busy:
            raise Refusal("busy")
        box.watch.start(ns_to_ticks(fields["gap_ns"], box.board.tick_hz), ns_to_ms_up(fields["gap_ns"]))
        return {"on": 1}

    def _do_ack(self, fields, record, now):
        events = self._box.events
        if not events.ack(fields["upto"]):
            raise Refusal("bad_field", "Event %d was never sent since this boot." % fields["upto"])
        return {"unread": events.unread}

    def _do_resend(self, fields, record, now):
        events = self._box.events
        events.resend()
        return {"unread": events.unread, "last_event": events.last}

    # -- frame log and crash record -----------------------------------------------------------

    def _do_framelog(self, fields, record, now):
        log = self._box.framelog
        page = []  # type: list[list[object]]
        size = 0
        index = fields["start"]
        while len(page) < fields["count"]:
            entry = log.read(index)
            if entry is None:
                break
            # Digits, signs and quotes: what the entry takes on the line.
            size += len(str(entry)) + 4
            if size > _PAGE_BYTES_MOST and page:
                break
            page.append(list(entry))
            index += 1
        reply = log.summary()
        reply["start"] = fields["start"]
        reply["list"] = page
        return reply

    def _do_framelog_clear(self, fields, record, now):
        box = self._box
        if box.shot.busy:
            raise Refusal("busy")
        if not box.framelog.clear(fields["entries"]):
            say = "The frame log holds %d entries; read them all before clearing."
            raise Refusal("bad_field", say % box.framelog.entries)
        return box.framelog.summary()

    def _do_crash(self, fields, record, now):
        return {"crash": self._box.crash.record}

    def _do_crash_clear(self, fields, record, now):
        self._box.crash.clear()
        return {"crash": None}


def _refused(number, code, say=None):
    reply = {"re": number, "error": code}
    if say:
        reply["say"] = say
    return reply
