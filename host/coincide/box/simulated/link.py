"""The serial line in memory: real bytes, with the latency and the rate of a USB serial port."""

from __future__ import annotations

from collections import deque
from random import Random

from coincide.box.simulated.clock import Clock, ticks_from_s
from coincide.box.simulated.spec import BoxSpec

HOST_BUFFER_BYTES = 4096  # what an operating system holds for a program that does not read


class Lane:
    """One direction: bytes arrive in order, late."""

    def __init__(self, clock: Clock, spec: BoxSpec, random: Random) -> None:
        self._clock = clock
        self._spec = spec
        self._random = random
        self._flying: deque[tuple[int, bytes]] = deque()
        self._last = 0
        self.held_bytes = 0

    def put(self, data: bytes) -> None:
        """Send bytes now."""
        spec = self._spec
        late_s = spec.latency_s + self._random.random() * spec.latency_spread_s
        arrives = max(self._last, self._clock.now + ticks_from_s(late_s))
        self._last = arrives + ticks_from_s(len(data) / spec.bytes_per_s)
        self._flying.append((self._last, data))
        self.held_bytes += len(data)

    def next_arrival(self) -> int | None:
        """When the next bytes will have arrived, or None when nothing is under way."""
        return self._flying[0][0] if self._flying else None

    def take(self) -> bytes:
        """What has arrived by now."""
        flying, now = self._flying, self._clock.now
        if not flying or flying[0][0] > now:
            return b""
        parts = []
        while flying and flying[0][0] <= now:
            parts.append(flying.popleft()[1])
        data = b"".join(parts)
        self.held_bytes -= len(data)
        return data

    def clear(self) -> None:
        """What is under way is lost."""
        self._flying.clear()
        self.held_bytes = 0


class Link:
    """Both directions, and whether the plug is in."""

    def __init__(self, clock: Clock, spec: BoxSpec, random: Random) -> None:
        self._room = spec.write_room_bytes + HOST_BUFFER_BYTES
        self.to_box = Lane(clock, spec, random)
        self.to_host = Lane(clock, spec, random)
        self.plugged = True
        self.connections = 1
        """How often the plug has gone in: a port opened before does not live on after it."""

    def box_write(self, data: bytes) -> int:
        """What the box's driver takes of these bytes: nothing unplugged, little when the host does not read."""
        if not self.plugged:
            return 0
        taken = min(len(data), self._room - self.to_host.held_bytes)
        if taken > 0:
            self.to_host.put(bytes(data[:taken]))
        return max(taken, 0)

    def unplug(self) -> None:
        """The plug comes out; what was under way is lost."""
        self.plugged = False
        self.to_box.clear()
        self.to_host.clear()

    def plug(self) -> None:
        """The plug goes in."""
        if not self.plugged:
            self.plugged = True
            self.connections += 1
