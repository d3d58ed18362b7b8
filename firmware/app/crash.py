"""The crash record: what went wrong first, kept until the host has read it. And the count of boots."""

import io
import sys

from .slots import TwoSlots
from .units import const

_TEXT_MOST = const(480)


def describe(error):
    """The end of the traceback as text, short enough for one line on the wire."""
    printer = getattr(sys, "print_exception", None)
    if printer is None:
        import traceback

        text = "".join(traceback.format_exception(type(error), error, error.__traceback__))
    else:
        out = io.StringIO()
        printer(error, out)
        text = out.getvalue()
    return text[-_TEXT_MOST:]


class CrashRecord:
    """The first crash since the last `clear`, as a dict, or None. A flash that fails is no second crash."""

    def __init__(self, files):
        self._slots = TwoSlots(files, "crash")
        self.record = self._slots.load()
        if not isinstance(self.record, dict):
            self.record = None
        self.since_boot = 0

    def keep(self, error, boot, ms, doing):
        """Record an exception; later ones are only counted. True when this one was written."""
        self.since_boot += 1
        return self.record is None and self.note(boot, ms, doing, describe(error))

    def note(self, boot, ms, doing, text):
        """Record what went wrong where there is no exception to describe. True when it was written."""
        if self.record is not None:
            return False
        self.record = {"boot": boot, "ms": ms, "doing": doing, "text": text}
        try:
            self._slots.save(self.record)
        except OSError:
            return False
        return True

    def clear(self):
        """Forget the crash. Raises OSError when the flash fails."""
        if self.record is not None:
            self._slots.save(None)
            self.record = None


def count_boot(files):
    """One more boot: its number, from 1; 0 when the flash does not work."""
    slots = TwoSlots(files, "boot")
    try:
        before = slots.load()
        number = before + 1 if isinstance(before, int) and before >= 0 else 1
        slots.save(number)
    except OSError:
        return 0
    return number


def boot_number(files):
    """The number of this boot once it was counted; 0 when the flash does not work."""
    try:
        number = TwoSlots(files, "boot").load()
    except OSError:
        return 0
    return number if isinstance(number, int) else 0
