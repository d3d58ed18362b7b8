"""The USB serial line as a byte stream that does not wait for a slow host."""

import select
import sys
import time

from micropython import const

_READ_MOST = const(128)
_WRITE_MOST = const(64)
_STALLED_MS = const(5)  # a write that took longer has waited for the host
# Taken one by one without a refusal: more than the port can hold, so the host reads again.
_TRUSTED_BYTES = const(512)


def _ready(poller, ms):
    """True when the polled stream is ready within `ms`; leaves no garbage behind."""
    for _ in poller.ipoll(ms):
        return True
    return False


class UsbSerial:
    """Reads byte by byte, asking before each: the port's own calls wait. Writes a packet at a time as long as the host
    takes them; a port that is ready may still have less room than a packet, and then the call waits up to half a second
    and drops the rest. After one such wait, and wherever the box must not wait, it writes byte by byte, asking before
    each."""

    def __init__(self):
        self._in = sys.stdin.buffer
        self._out = sys.stdout.buffer
        self._byte = bytearray(1)
        self._held = bytearray(_READ_MOST)
        self._view = memoryview(self._held)
        self._readable = select.poll()
        self._readable.register(sys.stdin, select.POLLIN)
        self._writable = select.poll()
        self._writable.register(sys.stdout, select.POLLOUT)
        self._taken = _TRUSTED_BYTES  # one by one since the last refusal

    def read(self):
        """What has arrived, at most 128 bytes; b"" if nothing."""
        poller = self._readable
        if not _ready(poller, 0):
            return b""
        byte = self._byte
        held = self._held
        readinto = self._in.readinto
        count = 0
        while True:
            readinto(byte)
            held[count] = byte[0]
            count += 1
            if count == _READ_MOST or not _ready(poller, 0):
                return bytes(self._view[:count])

    def write(self, data, careful=False):
        """Bytes accepted, at most 64. `careful`: nothing that might wait."""
        most = min(len(data), _WRITE_MOST)
        if careful or self._taken < _TRUSTED_BYTES:
            return self._write_bytes(data, most)
        if not _ready(self._writable, 0):
            return 0
        begun_ms = time.ticks_ms()
        self._out.write(data if most == len(data) else data[:most])
        if time.ticks_diff(time.ticks_ms(), begun_ms) > _STALLED_MS:
            self._taken = 0
        return most

    def _write_bytes(self, data, most):
        sent = 0
        while sent < most and _ready(self._writable, 0):
            self._out.write(data[sent : sent + 1])
            sent += 1
        if sent < most:
            self._taken = 0
        elif self._taken < _TRUSTED_BYTES:
            self._taken += sent
        return sent

    def wait(self, ms):
        """Waits for a byte to arrive, at most `ms`; True if one did."""
        return _ready(self._readable, ms)
