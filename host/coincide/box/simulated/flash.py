"""The box's small file store, in memory: it fills up, it fails when told to, and power cuts tear it."""

from __future__ import annotations

import errno


class Flash:
    """Files by name. `failing` makes every write fail; `tear_next_write` cuts the next one short by power loss."""

    def __init__(self, capacity_bytes: int) -> None:
        self._capacity = capacity_bytes
        self._files: dict[str, bytearray] = {}
        self.failing = False
        self.tear_next_write = False

    def read(self, name: str) -> bytes | None:
        """Whole content, or None."""
        held = self._files.get(name)
        return None if held is None else bytes(held)

    def read_at(self, name: str, at: int, count: int) -> bytes:
        """At most `count` bytes from `at`."""
        return bytes(self._files.get(name, b"")[at : at + count])

    def size(self, name: str) -> int:
        """Bytes in a file, 0 when there is none."""
        return len(self._files.get(name, b""))

    def append(self, name: str, data: bytes) -> None:
        """Add to the end of a file."""
        kept = self._writable(data)
        self._files.setdefault(name, bytearray()).extend(kept)

    def replace(self, name: str, data: bytes) -> None:
        """New content for a file."""
        self._files[name] = bytearray(self._writable(data))

    def remove(self, name: str) -> None:
        """Forget a file; one that is not there is no error."""
        self._files.pop(name, None)

    def names(self) -> list[str]:
        """All files."""
        return sorted(self._files)

    def free_bytes(self) -> int:
        """Room left."""
        return self._capacity - sum(map(len, self._files.values()))

    def _writable(self, data: bytes) -> bytes:
        if self.failing:
            raise OSError(errno.EIO, "flash failed")
        if len(data) > self.free_bytes():
            raise OSError(errno.ENOSPC, "flash full")
        if self.tear_next_write:
            self.tear_next_write = False
            return bytes(data[: len(data) // 2])
        return bytes(data)
