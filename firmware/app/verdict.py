"""The skew of one frame, in whole nanoseconds, from the edges of its shot. Integers only, one pass a body.

Skew is mid-exposure of B minus mid-exposure of A: positive when B is late.
"""

from .pins import FULL_A, FULL_B, GATE_A1, GATE_A2, GATE_B1, GATE_B2, SYNC_A, SYNC_B
from .settings import HOW_GATE, HOW_GATES, HOW_NONE, HOW_SYNC
from .units import const, ns_to_ticks, ticks_to_ns

# Verdicts as they stand in the frame log: indices into messages.FRAME_VERDICTS.
WITHIN = 0
OUT = 1
NO_ANSWER_A = 2
NO_ANSWER_B = 3
NO_ANSWER_BOTH = 4
NOT_MEASURED = 5
BLACK_A = 6
BLACK_B = 7
BLACK_BOTH = 8

# A contact that closes again so soon after opening bounced; the host's EdgeRules.rebound_s.
_REBOUND_NS = const(3000000)


class BodyReading:
    """What one body did in one shot.

    `mid_ns`: mid-exposure after the shot's first edge, or None. `lag_ns`: the same after the full-press edge
    that left the box, or None. `exposure_ns`: open to closed at the gate, or None. `bounces`, `flicks`:
    closings taken for bounce, and closings too early, too late or too short to be an exposure. `black`: its contact
    closed, and no light came to the gate.
    """

    def __init__(self):
        self.mid_ns = None  # type: int | None
        self.lag_ns = None  # type: int | None
        self.exposure_ns = None  # type: int | None
        self.bounces = 0
        self.flicks = 0
        self.black = False


class FrameReading:
    """Both bodies, the skew (ns, or None), the verdict and the edges lost of one frame."""

    def __init__(self, a, b, skew_ns, verdict, lost):
        self.a = a
        self.b = b
        self.skew_ns = skew_ns
        self.verdict = verdict
        self.lost = lost


def read_frame(edges, preset, tick_hz):
    """Read one shot. `edges` as in shots.Edges, `preset` as in settings or None."""
    if preset is None:
        return FrameReading(BodyReading(), BodyReading(), None, NOT_MEASURED, edges.lost)
    a = _read_body(edges, preset, "a", (FULL_A, SYNC_A, GATE_A1, GATE_A2), tick_hz)
    b = _read_body(edges, preset, "b", (FULL_B, SYNC_B, GATE_B1, GATE_B2), tick_hz)
    silent_a = preset["how_a"] != HOW_NONE and a.mid_ns is None and not a.black
    silent_b = preset["how_b"] != HOW_NONE and b.mid_ns is None and not b.black
    skew = None
    if edges.lost:
        # An edge that was lost may have been the one that counts.
        verdict = NOT_MEASURED
    elif silent_a and silent_b:
        verdict = NO_ANSWER_BOTH
    elif silent_a:
        verdict = NO_ANSWER_A
    elif silent_b:
        verdict = NO_ANSWER_B
    elif a.black and b.black:
        verdict = BLACK_BOTH
    elif a.black:
        verdict = BLACK_A
    elif b.black:
        verdict = BLACK_B
    elif a.mid_ns is None or b.mid_ns is None:
        verdict = NOT_MEASURED
    else:
        skew = b.mid_ns - a.mid_ns
        verdict = WITHIN if abs(skew) <= preset["tolerance_ns"] else OUT
    return FrameReading(a, b, skew, verdict, edges.lost)


def _read_body(edges, preset, body, channels, tick_hz):
    full_channel, sync, gate_1, gate_2 = channels
    reading = BodyReading()
    how = preset["how_" + body]
    at_full = edges.first(full_channel, 1)
    if how == HOW_NONE or at_full < 0:
        return reading
    full = edges.at[at_full]
    rules = tuple(
        ns_to_ticks(preset[name + body + "_ns"], tick_hz)
        for name in ("earliest_", "latest_", "shortest_", "bounce_")
    )
    by_sync = rules + (
        ns_to_ticks(_REBOUND_NS, tick_hz),
        ns_to_ticks(preset["held_" + body + "_ns"], tick_hz),
    )
    by_gate = rules + (0, 0)
    twice_mid = None  # in half ticks, so that halfway between two edges is exact
    if how == HOW_SYNC:
        first, _ = _closing(edges, sync, full, by_sync, reading)
        if first >= 0:
            twice_mid = 2 * first
    elif how in (HOW_GATE, HOW_GATES):
        opened, closed = _closing(edges, gate_1, full, by_gate, reading)
        if opened >= 0 and closed >= 0:
            twice_mid = opened + closed
            width = closed - opened
            if how == HOW_GATES:
                opened, closed = _closing(edges, gate_2, full, by_gate, reading)
                if opened >= 0 and closed >= 0:
                    twice_mid = (twice_mid + opened + closed) // 2
                    width = (width + closed - opened) // 2
                else:
                    twice_mid = None
            if twice_mid is not None:
                reading.exposure_ns = ticks_to_ns(width, tick_hz)
        elif edges.first(gate_1, 1) < 0 and edges.first(gate_2, 1) < 0:
            # The host reads a shot so too, as a black frame (timing/shutter/mid_exposure.py).
            reading.black = _closing(edges, sync, full, by_sync, BodyReading())[0] >= 0
    if twice_mid is not None:
        to_mid = preset["to_mid_" + body + "_ns"]
        reading.mid_ns = ticks_to_ns(twice_mid, 2 * tick_hz) + to_mid
        reading.lag_ns = ticks_to_ns(twice_mid - 2 * full, 2 * tick_hz) + to_mid
    return reading


def _closing(edges, channel, full, rules, reading):
    """(first closing, last opening) of the contact that was the exposure, in ticks of the shot; -1 where there is
    none, or where it was still closed at the end of listening.

    The window is read to its end. Closings belong to one contact when it closed again within `rebound` of opening, or
    within `bounce` of a closing that had lasted `shortest`. It can be the exposure when it began in the window after
    `full` and stayed closed for `shortest` without a break. Of those the first counts; but one that was not held for
    `held` and has a held one behind it was shaken closed. The host finds the same one (session/shots.py).
    """
    earliest, shortest, bounce, rebound = rules[0], rules[2], rules[3], rules[4]
    closes = 2 * channel + 1
    opens = 2 * channel
    choice = _Choice(full, rules, reading)
    is_closed = False
    first = closed = opened = -1
    longest = closings = 0
    for i in range(edges.count):
        code = edges.code[i]
        at = edges.at[i]
        if code == opens and is_closed:
            is_closed = False
            opened = at
            longest = max(longest, opened - closed)
        # A level told twice says nothing new.
        if code != closes or is_closed:
            continue
        again = first >= 0 and (
            at - opened <= rebound or (at - closed <= bounce and opened - closed >= shortest)
        )
        # What came before the window opened must not drag the true closing out of it.
        if again and (closed - full < earliest) == (at - full < earliest):
            closings += 1
        else:
            choice.look(first, opened, longest, closings)
            first = at
            longest = 0
            closings = 1
        closed = at
        is_closed = True
    choice.look(first, -1 if is_closed else opened, longest, closings)
    return choice.done()


class _Choice:
    """Which of the contacts of a channel, looked at in order, was the exposure."""

    def __init__(self, full, rules, reading):
        self._full = full
        self._earliest, self._latest, self._shortest, _, _, self._held = rules
        self._reading = reading
        self._first = self._opened = -1
        self._closings = 0
        self._is_held = False
        self._shorts = 0  # closings since the last held one: shaken, should another held one come
        self._late = 0

    def look(self, first, opened, longest, closings):
        """The next contact; `opened` -1: still closed at the end of listening, which is long enough."""
        if first < 0:
            return
        endless = opened < 0
        if first - self._full < self._earliest or not (endless or longest >= self._shortest):
            self._reading.flicks += closings
            return
        if first - self._full > self._latest:
            self._late += closings
            return
        if not endless and longest >= self._held:
            self._reading.flicks += self._shorts
            self._shorts = 0
            counts = not self._is_held
            self._is_held = True
        else:
            self._shorts += closings
            counts = self._first < 0
        if counts:
            self._first = first
            self._opened = opened
            self._closings = closings

    def done(self):
        """(first closing, last opening) of the one that was."""
        if self._first < 0:
            self._reading.flicks += self._late
        else:
            self._reading.bounces += self._closings - 1
        return self._first, self._opened
