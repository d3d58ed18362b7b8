"""Between nanoseconds (wire, settings), ticks (edges) and milliseconds (time-outs). Integers only."""


def const(value):
    """The value itself. MicroPython's compiler puts `_NAME = const(...)` where the name is used and keeps no name."""
    return value


_NS_PER_S = const(1000000000)
_NS_PER_MS = const(1000000)


def ns_to_ticks(ns, tick_hz):
    """Nanoseconds to ticks, rounded to the nearest."""
    return (ns * tick_hz + _NS_PER_S // 2) // _NS_PER_S


def ticks_to_ns(ticks, tick_hz):
    """Ticks to nanoseconds, rounded to the nearest."""
    return (ticks * _NS_PER_S + tick_hz // 2) // tick_hz


def ns_to_ms_up(ns):
    """Nanoseconds to whole milliseconds, rounded up: a time-out never ends early."""
    return -(-ns // _NS_PER_MS)


def ticks_to_ms_up(ticks, tick_hz):
    """Ticks to whole milliseconds, rounded up."""
    return -(-ticks * 1000 // tick_hz)
