"""The USB serial line as a byte stream that never blocks."""

import select
import sys

READ_MOST = 256
WRITE_MOST = 64


def _ready(poller, ms):
    """True when the polled stream is ready within `ms`; leaves no garbage behind."""
    for _ in poller.ipoll(ms):
        return True
    return False


class UsbSerial:
    """Reads and writes byte by byte, asking before each: the port's own calls wait for a slow host
    (half a second at worst), and a box that waits cannot watch its interlock."""

    def __init__(self):
        self._in = sys.stdin.buffer
        self._out = sys.stdout.buffer
        self._byte = bytearray(1)
        self._readable = select.poll()
        self._readable.register(sys.stdin, select.POLLIN)
        self._writable = select.poll()
        self._writable.register(sys.stdout, select.POLLOUT)

    def read(self):
        """What has arrived, at most 256 bytes; b"" if nothing."""
        if not _ready(self._readable, 0):
            return b""
        held = bytearray()
        while len(held) < READ_MOST and _ready(self._readable, 0):
            self._in.readinto(self._byte)
            held += self._byte
        return bytes(held)

    def write(self, data):
        """Bytes accepted, at most 64."""
        sent = 0
        most = min(len(data), WRITE_MOST)
        while sent < most and _ready(self._writable, 0):
            self._out.write(data[sent : sent + 1])
            sent += 1
        return sent

    def wait(self, ms):
        """Waits for a byte to arrive, at most `ms`; True if one did."""
        return _ready(self._readable, ms)
