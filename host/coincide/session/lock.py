"""One writer a file: a lock that the operating system drops when the process ends, however it ends."""

from __future__ import annotations

import sys

if sys.platform == "win32":
    import msvcrt
    import os

    # Windows refuses reads of a locked byte, so the lock lies far behind anything a session grows to.
    LOCKED_BYTE = 0x7FFF_FFFE

    def lock_exclusively(descriptor: int) -> None:
        """Lock the open file for this process alone. Raises OSError at once when another holds it."""
        here = os.lseek(descriptor, 0, os.SEEK_CUR)
        os.lseek(descriptor, LOCKED_BYTE, os.SEEK_SET)
        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        finally:
            os.lseek(descriptor, here, os.SEEK_SET)

else:
    import fcntl

    def lock_exclusively(descriptor: int) -> None:
        """Lock the open file for this process alone. Raises OSError at once when another holds it."""
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
