"""The frame log: one entry for every frame fired alone in the field, in flash, whatever happens to the power.

The log is a row of segments, each one file of _SLOTS slots of SLOT_BYTES, filled from front to back and
never rewritten. Slot 0 is the segment's header, the others hold an entry each. An entry is written in two
parts: its *opening* when the frame is fired, its *body* when the frame has been read. A power cut at any
byte leaves every earlier entry as it was; an entry without a whole body stays in its place and is counted
as damaged, so that no frame goes missing without a word.

Segments are numbered on and on and take the files in turn, clearing included: the flash wears evenly. Full
means full: nothing is overwritten, `begin` refuses, and the frames that went unlogged are counted.
"""

import binascii
import struct

from .units import const

SLOT_BYTES = 80
_SLOTS = const(51)
ENTRIES_A_SEGMENT = _SLOTS - 1
_LOOK_ENTRIES = const(5)  # at a time; a segment is a whole number of them
SEGMENTS = 40
FILES = SEGMENTS + 2  # a new segment can be begun before any old one is gone
CAPACITY = SEGMENTS * ENTRIES_A_SEGMENT
SPARE_BYTES = 16384  # left to settings and crash record

_HEADER = const("<4sIII")  # mark, segment number, number of the log's first segment, CRC-32
_HEADER_BYTES = const(16)
_OPENING = const("<HIH")  # mark, place in all entries ever, low half of the CRC-32
_OPENING_BYTES = const(8)
_BODY = const("<IIiiiiiIIIBBBBBBH20s")
_BODY_BYTES = const(68)
_MARK = const(b"cfrl")
_OPENING_MARK = const(0xF7A1)
_NONE = const(0x7FFFFFFF)
_MOST = const(0x7FFFFFFE)


def _crc(data):
    return binascii.crc32(data) & 0xFFFFFFFF


def _packed(value):
    """A nanosecond figure as it is stored: None as a mark, anything beyond 2.1 s as the limit."""
    if value is None:
        return _NONE
    return max(-_MOST, min(_MOST, value))


def _unpacked(value):
    return None if value == _NONE else value


def _name(serial):
    return "frames.%02d" % (serial % FILES)


class FrameLog:
    """`entries` in order from 0, of which `damaged` cannot be read, as far as they have been looked through by
    `look_on`; `unlogged` frames since boot that found it full or failing."""

    def __init__(self, files):
        self._files = files
        self._first = 0  # number of the log's first segment
        self._last = -1  # number of the segment being filled; -1 before there is one
        self._slots_used = 0  # in the last segment, header included
        self.damaged = 0
        self._look_at = 0  # the next entry, of all ever, to be looked through
        self._look_until = 0
        self.unlogged = 0
        self._open = False
        self._mounted = False
        self._repair()

    # -- reading ------------------------------------------------------------------------------

    @property
    def entries(self):
        if self._last < 0:
            return 0
        return (self._last - self._first) * ENTRIES_A_SEGMENT + max(0, self._slots_used - 1)

    def summary(self):
        """What `identify` says of the log: `damaged` of the `checked` entries."""
        return {
            "entries": self.entries,
            "capacity": CAPACITY,
            "damaged": self.damaged,
            "checked": self.entries - max(0, self._look_until - self._look_at),
        }

    def read(self, index):
        """One entry as a tuple in the order of frame_words.FRAME_FIELDS; only its number where it is damaged.
        None beyond the end."""
        if not 0 <= index < self.entries:
            return None
        serial = self._first + index // ENTRIES_A_SEGMENT
        at = (1 + index % ENTRIES_A_SEGMENT) * SLOT_BYTES
        try:
            raw = self._files.read_at(_name(serial), at, SLOT_BYTES)
        except OSError:
            raw = b""
        return self._entry(raw, serial, index)

    def _entry(self, raw, serial, index):
        place = serial * ENTRIES_A_SEGMENT + index % ENTRIES_A_SEGMENT
        if not raw or not _whole(raw, place):
            return (index,)
        body = struct.unpack(_BODY, raw[_OPENING_BYTES : _OPENING_BYTES + _BODY_BYTES])
        boot, ms, skew, lag_a, lag_b, exposure_a, exposure_b, delay_a, delay_b, tolerance = body[:10]
        verdict, how, bounces_a, bounces_b, flicks_a, flicks_b, lost, name = body[10:]
        return (
            index,
            boot,
            ms,
            name.rstrip(b"\0").decode(),
            verdict,
            _unpacked(skew),
            _unpacked(lag_a),
            _unpacked(lag_b),
            _unpacked(exposure_a),
            _unpacked(exposure_b),
            delay_a,
            delay_b,
            tolerance,
            how & 15,
            how >> 4,
            bounces_a,
            bounces_b,
            flicks_a,
            flicks_b,
            lost,
        )

    # -- writing ------------------------------------------------------------------------------

    def begin(self):
        """Write the opening of an entry. False, and counted, when the log is full or the flash fails."""
        self._open = False
        if not self._mounted:
            self._repair()
        try:
            if not self._mounted or not self._ready_for_entry():
                self.unlogged += 1
                return False
            place = self._last * ENTRIES_A_SEGMENT + self._slots_used - 1
            self._files.append(_name(self._last), _opening(place))
        except OSError:
            self.unlogged += 1
            self._repair()
            return False
        self._slots_used += 1
        self.damaged += 1  # until its body is there
        self._open = True
        return True

    def finish(self, boot, ms, name, reading, preset):
        """Write the body of the entry that `begin` opened. False when the flash fails: it stays damaged."""
        if not self._open:
            return False
        self._open = False
        preset = preset or {}
        body = struct.pack(
            _BODY,
            boot & 0xFFFFFFFF,
            ms & 0xFFFFFFFF,
            _packed(reading.skew_ns),
            _packed(reading.a.lag_ns),
            _packed(reading.b.lag_ns),
            _packed(reading.a.exposure_ns),
            _packed(reading.b.exposure_ns),
            preset.get("delay_a_ns", 0),
            preset.get("delay_b_ns", 0),
            preset.get("tolerance_ns", 0),
            reading.verdict,
            preset.get("how_a", 0) | preset.get("how_b", 0) << 4,
            min(255, reading.a.bounces),
            min(255, reading.b.bounces),
            min(255, reading.a.flicks),
            min(255, reading.b.flicks),
            min(65535, reading.lost),
            name.encode(),
        )
        place = self._last * ENTRIES_A_SEGMENT + self._slots_used - 2
        try:
            self._files.append(_name(self._last), body + struct.pack("<I", _crc(_opening(place) + body)))
        except OSError:
            self._repair()
            return False
        self.damaged -= 1
        try:
            self._ready_for_entry()  # the next segment's header, now rather than when the finger is down
        except OSError:
            self._repair()
        return True

    def clear(self, entries):
        """Forget everything, if `entries` is the number there is. False otherwise. Raises OSError."""
        if entries != self.entries:
            return False
        if entries == 0:
            return True
        old = range(self._first, self._last + 1)
        # The new beginning first: cut off here, the next mount finishes the clearing.
        self._begin_segment(self._last + 1, self._last + 1)
        self.damaged = 0
        self._look_at = self._look_until
        self._open = False
        for serial in old:
            self._files.remove(_name(serial))
        return True

    # -- segments -----------------------------------------------------------------------------

    def _ready_for_entry(self):
        """Have a place for one more entry; False when the log is full. Raises OSError."""
        if self._last >= 0:
            self._align()
            if self._slots_used < _SLOTS:
                return self._files.free_bytes() >= SPARE_BYTES
            if self._last - self._first + 1 >= SEGMENTS:
                return False
        if self._files.free_bytes() < SPARE_BYTES:
            return False
        first = self._first if self._last >= 0 else 0
        self._begin_segment(self._last + 1, first)
        return True

    def _begin_segment(self, serial, first):
        name = _name(serial)
        if self._files.size(name):
            self._files.remove(name)  # a header that was cut short
        head = struct.pack("<4sII", _MARK, serial, first)
        header = head + struct.pack("<I", _crc(head))
        self._files.append(name, header + b"\0" * (SLOT_BYTES - _HEADER_BYTES))
        self._first = first
        self._last = serial
        self._slots_used = 1

    def _align(self):
        """Fill up a slot that was cut short, so that the next one begins where it should. Raises OSError."""
        size = self._files.size(_name(self._last))
        over = size % SLOT_BYTES
        if over:
            self._files.append(_name(self._last), b"\0" * (SLOT_BYTES - over))

    def _repair(self):
        """Look at the flash, at boot and again after it failed. The log is out of use while that fails."""
        self._open = False
        try:
            self._mount()
            self._mounted = True
        except OSError:
            self._mounted = False

    def _mount(self):
        """Find the segments, finish what a power cut left half done, count what cannot be read in the last one; the
        others are looked through later, or a full log would keep the box from starting for seconds."""
        places = []
        for name in self._files.names():
            if name.startswith("frames.") and name[7:].isdigit():
                places.append(int(name[7:]))
        self._first = self._look_at = self._look_until = 0
        self._last = -1
        self._slots_used = 0
        self.damaged = 0
        if not self._mount_row(places) and not self._mount_each(places):
            return
        self._align()
        self._slots_used = max(1, min(_SLOTS, self._files.size(_name(self._last)) // SLOT_BYTES))
        self._look_at = self._first * ENTRIES_A_SEGMENT
        self._look_until = self._last * ENTRIES_A_SEGMENT
        for slot in range(1, self._slots_used, _LOOK_ENTRIES):
            self._count_damage(self._last, slot, min(_LOOK_ENTRIES, self._slots_used - slot))

    def _mount_row(self, places):
        """As a rule the segments are one row of files, and the header of the last says all of it."""
        ends = [place for place in places if (place + 1) % FILES not in places]
        if len(ends) != 1:
            return False
        header = _header(self._files.read_at(_name(ends[0]), 0, SLOT_BYTES))
        if header is None or header[0] % FILES != ends[0] or header[0] - header[1] + 1 != len(places):
            return False
        self._last, self._first = header
        return True

    def _mount_each(self, places):
        """After a cut, or with a header that has gone bad: every header, and what is no part of the log goes."""
        files = self._files
        headers = {}
        sizes = {}
        for place in places:
            sizes[place] = files.size(_name(place))
            header = _header(files.read_at(_name(place), 0, SLOT_BYTES))
            if header is not None and header[0] % FILES == place:
                headers[place] = header
        if headers:
            self._last, self._first = max(headers.values())
            # A last segment whose header has gone bad still holds entries.
            beyond = (self._last + 1) % FILES
            if beyond not in headers and sizes.get(beyond, 0) > SLOT_BYTES:
                self._last += 1
        elif any(size > SLOT_BYTES for size in sizes.values()):
            self._last = max(sizes)
        else:
            return False
        kept = [serial % FILES for serial in range(self._first, self._last + 1)]
        for place in sizes:
            if place not in kept:
                files.remove(_name(place))  # what a clearing, or a new header, left behind when it was cut
        return True

    def look_on(self):
        """Look through a few entries more of those that were there at the start, when the box has nothing else to do.
        False when all have been looked through."""
        place = self._look_at
        if place >= self._look_until:
            return False
        self._look_at = place + _LOOK_ENTRIES
        self._count_damage(place // ENTRIES_A_SEGMENT, 1 + place % ENTRIES_A_SEGMENT, _LOOK_ENTRIES)
        return True

    def _count_damage(self, serial, slot, count):
        try:
            raw = self._files.read_at(_name(serial), slot * SLOT_BYTES, count * SLOT_BYTES) or b""
        except OSError:
            raw = b""
        place = serial * ENTRIES_A_SEGMENT + slot - 1
        for n in range(count):
            if not _whole(raw[n * SLOT_BYTES : (n + 1) * SLOT_BYTES], place + n):
                self.damaged += 1


def _opening(place):
    head = struct.pack("<HI", _OPENING_MARK, place & 0xFFFFFFFF)
    return head + struct.pack("<H", _crc(head) & 0xFFFF)


def _whole(raw, place):
    """Whether a slot holds the entry that belongs there, opening and body."""
    if len(raw) != SLOT_BYTES or raw[:_OPENING_BYTES] != _opening(place):
        return False
    (crc,) = struct.unpack("<I", raw[SLOT_BYTES - 4 :])
    return crc == _crc(raw[: SLOT_BYTES - 4])


def _header(raw):
    """(segment number, number of the first segment), or None where the header is not whole."""
    if len(raw) < _HEADER_BYTES:
        return None
    mark, serial, first, crc = struct.unpack(_HEADER, raw[:_HEADER_BYTES])
    if mark != _MARK or crc != _crc(raw[: _HEADER_BYTES - 4]) or first > serial:
        return None
    return serial, first
