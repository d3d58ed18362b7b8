"""The large pieces of memory, taken before anything else is imported, while the heap is whole.

MicroPython never moves what it has allocated: once small things lie all over the heap, a large piece may find no
place although there is memory enough.
"""

import gc

import uctypes
from micropython import const

RING_BITS = 13  # 8 KiB, 1024 records a machine
RING_BYTES = 1 << RING_BITS
MACHINES = 3
LOOK_RING_BITS = 9  # 256 looks at the contacts of two bytes each: a second
LOOK_RING_BYTES = 1 << LOOK_RING_BITS
_ALL_BYTES = MACHINES * RING_BYTES + LOOK_RING_BYTES
_PROBE_BYTES = const(1024)


class Rings:
    """A ring for each sampling machine, and one for the looks at the contacts, each on a boundary of its size, as DMA
    wraps there. `first` is the address of the first; the next ones follow, then `looks`."""

    def __init__(self):
        self._memory = _on_a_boundary()
        if self._memory is None:
            # Anywhere, and larger by as much as a boundary may be away.
            gc.collect()
            self._memory = bytearray(_ALL_BYTES + RING_BYTES - 4)
        self.first = _next_boundary(uctypes.addressof(self._memory))
        self.looks = self.first + MACHINES * RING_BYTES

    def view(self, machine):
        """The bytes of a machine's ring, as DMA writes them."""
        return uctypes.bytearray_at(self.first + machine * RING_BYTES, RING_BYTES)


def _next_boundary(address):
    return (address + RING_BYTES - 1) & ~(RING_BYTES - 1)


def _on_a_boundary():
    """The rings with nothing to spare, or None. What is left below them stays free for small things."""
    # The heap is empty but for its beginning, and filled from there: what is asked for next lies behind the probe.
    probe = bytearray(_PROBE_BYTES)
    behind = uctypes.addressof(probe) + _PROBE_BYTES
    spacer = bytearray(_next_boundary(behind) - behind)
    memory = bytearray(_ALL_BYTES)
    at = uctypes.addressof(memory)
    del probe, spacer
    return memory if at == _next_boundary(at) else None
