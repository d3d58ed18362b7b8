"""The wire codec, one file for both ends: a JSON object, a tab, a CRC-32 in hex, a newline.

Nothing here is ever evaluated: a line is data or it is refused. A refused line comes out as a
`Refused`, so that the box can answer it and the host can count it.
"""

import binascii
import json

MAX_LINE_BYTES = 1024  # longer lines are refused: a box has no memory for them
MAX_BRACKETS = 64  # opening ones: a thousand nested lists would take a third of a box's memory


class Refused:
    """A line that did not survive the cable, and why: 'too long', 'no checksum', 'bad checksum',
    'too nested', 'not JSON' or 'not an object'."""

    def __init__(self, why, line):
        self.why = why
        self.line = line

    def __repr__(self):
        return "Refused(%r)" % self.why


def crc32_hex(payload):
    """CRC-32 (the one of Ethernet and zip) of bytes, as eight lower-case hex digits."""
    return b"%08x" % (binascii.crc32(payload) & 0xFFFFFFFF)


def encode(record):
    """One record (a dict of JSON values) as the bytes of one line, newline included."""
    # Newlines inside strings are escaped by JSON, tabs too: the separators are safe. MicroPython's
    # dumps knows no `separators` before 1.25 and no `ensure_ascii`, so both are left alone.
    payload = json.dumps(record).encode()
    return b"".join((payload, b"\t", crc32_hex(payload), b"\n"))


def decode_line(line):
    """A dict from one line (bytes without its newline), or a `Refused`."""
    if len(line) > MAX_LINE_BYTES:
        return Refused("too long", line[:40])
    at = line.rfind(b"\t")
    if at < 0:
        return Refused("no checksum", line)
    payload = line[:at]
    if line[at + 1 :].rstrip(b"\r") != crc32_hex(payload):
        return Refused("bad checksum", line)
    if payload.count(b"[") + payload.count(b"{") > MAX_BRACKETS:
        return Refused("too nested", line[:40])
    try:
        record = json.loads(payload)
    except (ValueError, RuntimeError, MemoryError):
        # RuntimeError: deeper than the interpreter's stack, should that be shallow indeed.
        return Refused("not JSON", line)
    if not isinstance(record, dict):
        return Refused("not an object", line)
    return record


class LineReader:
    """Cuts a byte stream into lines, in bounded memory however long a line pretends to be."""

    def __init__(self, max_line_bytes=MAX_LINE_BYTES):
        self._max = max_line_bytes
        self._held = bytearray()
        self._overlong = False

    def drop(self):
        """Forget the line that has begun to arrive."""
        self._held = bytearray()
        self._overlong = False

    def feed(self, data):
        """The records and `Refused`s completed by these bytes, in order. Empty lines are silent."""
        found = []  # type: list[dict | Refused]
        start = 0
        while True:
            end = data.find(b"\n", start)
            piece = data[start:] if end < 0 else data[start:end]
            if self._overlong or len(self._held) + len(piece) > self._max:
                self._overlong = True
                self._held = bytearray()
            else:
                self._held += piece
            if end < 0:
                return found
            line, overlong = self._held, self._overlong
            self.drop()
            if overlong:
                found.append(Refused("too long", b""))
            elif line.rstrip(b"\r"):
                found.append(decode_line(bytes(line)))
            start = end + 1
