"""A small document in flash that survives power loss while it is written: two slots, each with its CRC.

A save writes the older slot; whatever happens to that write, the newer one is whole.
"""

import binascii
import json
import struct

from .units import const

_HEAD = const("<4sII")  # mark, generation, CRC-32 of generation and text
_HEAD_BYTES = const(12)
_MARK = const(b"cslt")


class TwoSlots:
    """The document `name`, a JSON value, in the files `name`.0 and `name`.1.

    After `load`: `damaged` counts slots that were there and did not read; `found` says one did.
    """

    def __init__(self, files, name):
        self._files = files
        self._names = (name + ".0", name + ".1")
        self._generation = 0
        self._newest = 1  # so that the first save writes slot 0
        self.damaged = 0
        self.found = False

    def load(self):
        """The newest whole document, or None. Flash errors count as damage."""
        newest = None
        self.damaged = 0
        self.found = False
        for i in (0, 1):
            try:
                raw = self._files.read(self._names[i])
            except OSError:
                raw = b""
            if raw is None:
                continue
            generation, value = _parse(raw)
            if generation < 0:
                self.damaged += 1
            elif generation > self._generation or not self.found:
                self.found = True
                self._generation = generation
                self._newest = i
                newest = value
        return newest

    def save(self, value):
        """Write a document. Raises OSError when the flash fails; the one before is then still whole."""
        text = json.dumps(value).encode()
        generation = self._generation + 1
        raw = struct.pack(_HEAD, _MARK, generation, _crc(generation, text)) + text
        target = 1 - self._newest
        self._files.replace(self._names[target], raw)
        if self._files.read(self._names[target]) != raw:
            raise OSError("the flash did not keep what was written")
        self._generation = generation
        self._newest = target
        self.found = True


def _crc(generation, text):
    return binascii.crc32(text, generation) & 0xFFFFFFFF


def _parse(raw):
    """(generation, value) of a slot, or (-1, None) when it is not whole."""
    if len(raw) < _HEAD_BYTES:
        return -1, None
    mark, generation, crc = struct.unpack(_HEAD, raw[:_HEAD_BYTES])
    text = raw[_HEAD_BYTES:]
    if mark != _MARK or crc != _crc(generation, text):
        return -1, None
    try:
        return generation, json.loads(text)
    except ValueError:
        return -1, None
