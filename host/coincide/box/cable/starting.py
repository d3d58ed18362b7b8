"""A box that does not answer yet, or will not: it is still starting, or its interpreter answers in its place."""

from __future__ import annotations

import re

# A start takes one second where the files are compiled, four where they are source, with a full frame log too; before
# it is over the box hears nothing.
STARTS_S = 6.0
PROMPT = b">>> "
# What the firmware leaves in the interpreter's prompt when it goes into rescue mode.
RESCUE = re.compile(rb"coincide: rescue mode, outputs open: ([ -~]{1,200})")
HEARD_MOST = 4096


def starting_words(name: str) -> str:
    """What the person reads while the box is waited for."""
    return f"Nothing answers on {name} yet: a box that was just plugged in is starting; waiting {STARTS_S:.0f} s."


def why_not_started(name: str, heard: bytes) -> str | None:
    """A sentence where what came from the port `name` is MicroPython's prompt, else None."""
    if PROMPT not in heard:
        return None
    told = RESCUE.findall(heard)
    because = (
        f"because {told[-1].decode().rstrip('. ')}"
        if told
        else "because it is not on this board, or because the box was sent into rescue mode"
    )
    return (
        f"MicroPython answers on {name}; our firmware did not start, {because}. Unplug the box and plug it in again, "
        f"'preset' not held; if it stays so, 'coincide box install --port {name}' puts the firmware on it."
    )
