"""Every message between host and box, declared once and read by both sides.

A request is `{"id": int, "do": verb, ...fields}`; the box answers `{"re": id, "ok": {...}}` or
`{"re": id, "error": code}`, with a `say` where a sentence tells more than the code (error_words.py has the
sentence of each code). `re` is null where a line had no readable id. An event
is `{"ev": sequence number, "is": kind, ...}` and stays in the box until a request `ack`s it
(event_words.py).

Fields are (name, least, most, default); a default of None means the field must be given. Times are
integer nanoseconds, because a JSON float would cost the box its exactness. Unknown fields are ignored.
"""

from .pins import LAMPS
from .units import const

PROTOCOL = 1

S = 1000000000  # ns in a second
MS = 1000000  # ns in a millisecond

MAX_DELAY_NS = 500 * MS  # the largest offset
MAX_LEAD_NS = 2 * S  # half-press before full-press
MAX_CLOSURE_NS = 5 * S  # full-press never longer than this
MAX_WINDOW_NS = 10 * S  # listening after the later full-press

_ARM_DEFAULT_MS = const(10000)
_ARM_MOST_MS = const(60000)
SILENCE_MS = 3000  # armed and nothing heard from the host for this long: disarm

# The verbs, each with its fields.
REQUESTS = {
    # who are you: protocol, firmware, board, tick rate, channels, boot number, what is stored
    "identify": (),
    # state of outputs, interlock, arm, event buffer; also the host's sign of life while armed
    "status": (),
    # what is stored: {"values": {...}, "presets": [name or null, ...], "ok": bool, "say": sentence}; with `preset`
    # (0 to 7) that preset alone: {"preset": n, "values": {...} or null}. A line has no room for all of them
    "get": (("preset", -1, 7, -1),),
    # store {"values": {...}}, any of the settings, the others stay; with `preset` a whole preset, or null to empty
    # its place. Answers what `get` would
    "put": (("preset", -1, 7, -1),),
    # permission to fire, for so long; refused with the interlock open, or never seen open
    "arm": (("timeout_ms", 100, _ARM_MOST_MS, _ARM_DEFAULT_MS),),
    # no more permission; a pair under way is stopped and the outputs open
    "disarm": (),
    # outputs to 'open' now, whatever else is going on; also disarms
    "ensure_open": (),
    # one pair: answers {"shot": n, "again": false}. A repeat of the last `shot` is answered "again": true and
    # fires nothing. Numbers rise while armed (a late duplicate of an older one is refused, bad_field); they
    # may begin anew after `identify`, `disarm` or a fresh `arm`, once the last `shot` event is acknowledged.
    # Too soon after the last pair: `busy` with "wait_ms".
    "fire": (
        ("shot", 1, 1000000000, None),
        ("delay_a_ns", 0, MAX_DELAY_NS, 0),
        ("delay_b_ns", 0, MAX_DELAY_NS, 0),
        ("lead_ns", 0, MAX_LEAD_NS, 300 * MS),
        ("closure_ns", 1 * MS, MAX_CLOSURE_NS, 150 * MS),
        ("window_ns", 10 * MS, MAX_WINDOW_NS, 1 * S),
    ),
    # the person says the bodies are wound: one `fire` is allowed when the box is set to manual wind
    "wound": (),
    # listen without firing: edges come as they happen, cut into groups by `gap_ns` of quiet
    "watch": (("on", 0, 1, None), ("gap_ns", 10 * MS, MAX_WINDOW_NS, 500 * MS)),
    # events up to and including `upto` are safe on the host: the box may forget them
    "ack": (("upto", 0, 1 << 60, None),),
    # send again everything not acknowledged, oldest first
    "resend": (),
    # a page of the frame log: {"entries": all there are, "capacity": n, "damaged": n, "checked": how many have been
    # looked through for that, "start": n, "list": []} from `start`, at most `count` and no more than a line holds: go
    # on from `start` + how many came. An entry is a list in the order of FRAME_FIELDS, a damaged one its number alone
    "framelog": (("start", 0, 1 << 30, 0), ("count", 1, 16, 8)),
    # forget the frame log; `entries` must be the number there is, so that nothing is cleared unread
    "framelog_clear": (("entries", 0, 1 << 30, None),),
    # the crash record: {"crash": {"boot", "ms", "doing", "text"} or null}, the first since it was cleared
    "crash": (),
    # forget the crash record
    "crash_clear": (),
    # restart once into rescue mode: the interpreter and the files can be reached over USB, nothing fires, and the start
    # after that is an ordinary one. `boot` must be the number of this boot (see `identify`). Refused while armed,
    # during a shot, while a release is closed, and while the last shot is not acknowledged
    "rescue": (("boot", 0, 1 << 30, None),),
    # zero check: close one release output for `closure_ns`, looped back by plug into the inputs. Needs an
    # arm; its edges come as those of shot 0, ended by a `shot` event with number 0
    "pulse": (("output", 0, 3, None), ("closure_ns", 1 * MS, 500 * MS, 20 * MS)),
    # whether resistors outside hold the release pins low: with the interlock open each is for a millisecond an input
    # with the chip's own pull-up. Answers {"held": mask} (half_a 1, full_a 2, half_b 4, full_b 8). Refused with the
    # interlock closed, while armed, while listening and during a shot; the outputs are open afterwards
    "pull_downs": (),
    # lamp row of the optical route: `lamps` lamps, one after another, each lit for `step_ns`
    "lamps": (("lamps", 2, LAMPS, LAMPS), ("step_ns", 20000, 100 * MS, 1 * MS), ("rows", 1, 10000, 1)),
}


FRAME_VERDICTS = (
    "within",
    "out",
    "no_answer_a",
    "no_answer_b",
    "no_answer_both",
    "not_measured",
    "black_a",
    "black_b",
    "black_both",
)


def check_fields(verb, request):
    """The declared fields of a request with defaults filled in, as (dict, None), or (None, sentence).

    Booleans are refused where numbers are due: JSON's true is not 1 here.
    """
    fields = {}
    for name, least, most, default in REQUESTS[verb]:
        value = request.get(name, default)
        if value is None:
            return None, "'%s' needs '%s', a whole number from %d to %d." % (verb, name, least, most)
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            return None, "'%s' must be a whole number from %d to %d." % (name, least, most)
        fields[name] = value
    return fields, None
