"""Between nanoseconds (wire, settings), ticks (edges) and milliseconds (time-outs). Integers only."""

NS_PER_S = 1000000000
NS_PER_MS = 1000000


def ns_to_ticks(ns, tick_hz):
    """Nanoseconds to ticks, rounded to the nearest."""
    return (ns * tick_hz + NS_PER_S // 2) // NS_PER_S


def ticks_to_ns(ticks, tick_hz):
    """Ticks to nanoseconds, rounded to the nearest."""
    return (ticks * NS_PER_S + tick_hz // 2) // tick_hz


def ns_to_ms_up(ns):
    """Nanoseconds to whole milliseconds, rounded up: a time-out never ends early."""
    return -(-ns // NS_PER_MS)


def ticks_to_ms_up(ticks, tick_hz):
    """Ticks to whole milliseconds, rounded up."""
    return -(-ticks * 1000 // tick_hz)
