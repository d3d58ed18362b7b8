"""The kinds of event and what each carries: the box names them where it sends them, and no board loads this."""

# What the box may say of itself without being asked.
EVENTS = (
    # {"shot": n or 0, "base": tick, "e": [code, delta, code, delta, ...]}, at most 16 edges; code is
    # 2 * channel + level, delta the ticks since the edge before (the first: since `base`, so 0)
    "edges",
    # the shot is complete: {"shot": n, "full_a": tick or null, "full_b": tick or null, "edges": count, "lost":
    # count, "thinned": count of edges in the middle of a burst that were left out, "stray": count, "aborted":
    # code or null, "plan": {...}}. Stray edges came outside any shot
    # since the last one; `aborted` is the code of the fault or the verb that opened the outputs early; the
    # plan is what was used, all in ticks, with the fields of `fire` or `pulse` without their _ns
    "shot",
    "group",  # watch: a group ended {"group": n, "edges": count, "lost": count}
    "overrun",  # {"lost": count}: edges the sampler saw and could not keep
    "wound",  # {"by": "box"}: the wound button or foot switch
    # {"half": 0 or 1, "full": 0 or 1, "preset": 0 or 1}: one of the photographer's own buttons went down or up
    "press",
    "fault",  # {"code": ..., "say": ...}: interlock opened, arm timed out, host silent, exception, reset
    "dropped",  # {"count": n}: events the full buffer could not keep
)
