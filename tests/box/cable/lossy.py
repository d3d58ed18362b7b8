"""A cable that damages what goes through it, between the host and the simulated box."""

from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random

from coincide.box.simulated.machine import Machine
from coincide.box.simulated.port import SimulatedPort


@dataclass(frozen=True)
class Cable:
    """Faults hit a byte with probability `rate`; each hits `burst` bytes in a row, with one of `kinds`: 'flip' a bit of
    each byte, 'drop' them, 'double' them, or 'noise', bytes of no sense after them.

    `stall_rate` is the chance that a read brings nothing for a while although bytes are there; `split` that it brings
    only some of them.
    """

    rate: float = 0.0
    burst: int = 1
    kinds: tuple[str, ...] = ("flip", "drop", "double")
    stall_rate: float = 0.0
    split: bool = False


class LossyPort:
    """A Port over a SimulatedPort, with a bad cable; `damaged` counts bytes hit, `carried` all bytes."""

    def __init__(self, inner: SimulatedPort, cable: Cable, seed: int) -> None:
        self.inner = inner
        self.name = inner.name
        self.cable = cable
        self.damaged = 0
        self.carried = 0
        self.writes = 0
        self._random = Random(f"cable {seed}")
        self._held = b""
        self._until_fault = self._gap()
        self._still_hit = 0
        self._kind = ""

    @property
    def machine(self) -> Machine:
        return self.inner.machine

    def write(self, data: bytes) -> None:
        self.writes += 1
        self.inner.write(self._through(data))

    def read(self, timeout_s: float) -> bytes:
        if self.cable.stall_rate and self._random.random() < self.cable.stall_rate:
            self.inner.wait(self._random.uniform(0.0, 1.5))
        data = self._held or self._through(self.inner.read(timeout_s))
        self._held = b""
        if self.cable.split and len(data) > 1:
            at = self._random.randint(1, len(data))
            data, self._held = data[:at], data[at:]
        return data

    def now_s(self) -> float:
        return self.inner.now_s()

    def wait(self, seconds: float) -> None:
        self.inner.wait(seconds)

    def reopen(self) -> bool:
        self._held = b""
        back = self.inner.reopen()
        if back:
            self.name = f"{self.inner.name} {self.inner.machine.link.connections}"
        return back

    def close(self) -> None:
        self.inner.close()

    def _gap(self) -> int:
        """Bytes from the end of a fault to the next one, so that `rate` of all bytes are hit."""
        if not self.cable.rate:
            return 1 << 62
        a_byte = self.cable.rate / self.cable.burst / (1 - self.cable.rate)
        return int(math.log(1 - self._random.random()) / math.log(1 - a_byte))

    def _through(self, data: bytes) -> bytes:
        self.carried += len(data)
        if self._until_fault >= len(data) and not self._still_hit:
            self._until_fault -= len(data)
            return data
        out = bytearray()
        at = 0
        while at < len(data):
            if not self._still_hit:
                clean = min(self._until_fault, len(data) - at)
                out += data[at : at + clean]
                at += clean
                self._until_fault -= clean
                if at < len(data):
                    self._still_hit = self.cable.burst
                    self._kind = self._random.choice(self.cable.kinds)
            hit = data[at : at + self._still_hit]
            if hit:
                # A fault may go on into what comes next on the line.
                self.damaged += len(hit)
                out += self._harm(hit)
                at += len(hit)
                self._still_hit -= len(hit)
                if not self._still_hit:
                    self._until_fault = self._gap()
        return bytes(out)

    def _harm(self, hit: bytes) -> bytes:
        if self._kind == "drop":
            return b""
        if self._kind == "double":
            return hit + hit
        if self._kind == "noise":
            return hit + self._random.randbytes(self._random.randint(1, 40))
        return bytes(byte ^ (1 << self._random.randrange(8)) for byte in hit)
