"""Bench test of what the box hears: sync contacts and gate sensors, its buttons, its interlock."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from coincide.bench.check.outputs import FLASH_LEFT_ON, NO_FLASH
from coincide.bench.check.record import Item
from coincide.bench.check.talk import Ask, BenchTalk, Edge, Tell
from coincide.bench.person import Question
from coincide_firmware.app.pins import CHANNELS

SYNC = ("sync_a", "sync_b")
GATE = ("gate_a1", "gate_a2", "gate_b1", "gate_b2")
LEAST_DARKS = 5  # times that the light went out and came back before a lamp is called flickering
NEAR = 0.05  # of a half period of the mains
# Signal of the pin table, field of the box's 'press' event, what the person does.
BUTTONS = (
    ("button_half", "half", "Press the release button half-way, hold it a moment, let go."),
    ("button_full", "full", "Press the release button fully, hold it a moment, let go: nothing fires now."),
    ("preset", "preset", "Press the preset button, hold it a moment, let go."),
)


def check_sensors(
    talk: BenchTalk, ask: Ask, tell: Tell, names: tuple[str, ...], timeout_s: float
) -> tuple[Item, ...]:
    """Watch each sync contact or gate sensor named while the person does what closes it."""
    if names == SYNC and not ask(Question(NO_FLASH)):
        return (Item("flash", "input", None, FLASH_LEFT_ON.format(what="The sync contacts were")),)
    what = "Sync contacts" if names == SYNC else "Gate sensors"
    tell(f"{what}: do what is asked and wait; the box listens and fires nothing.")
    return tuple(_sensor(talk, ask, name, timeout_s) for name in names)


def _how(name: str) -> str:
    kind, place = name.split("_")
    if kind == "sync":
        return f"Fire body {place.upper()} by hand at a slow speed (or short its sync plug for a moment)."
    return f"Shine the lamp on gate sensor {place}, then cover it."


def _sensor(talk: BenchTalk, ask: Ask, name: str, timeout_s: float) -> Item:
    act = "short" if name in SYNC else "light"
    if not ask(Question(f"Ready to test {name}? {_how(name)}", act, name)):
        return Item(name, "input", None, f"{name} was left out.")
    with talk.watching():
        edges = talk.collect("group", timeout_s) or ()
    closed = {CHANNELS[channel] for channel, level, _ in edges if level == 1 and 4 <= channel < 10}
    if not edges:
        say = f"{name}: no edge seen in {timeout_s:.0f} s; see 'No edge seen' in docs/wiring-faults.md."
        return Item(name, "input", False, say)
    mains_hz = None if name in SYNC else _flicker_hz(edges, name, talk.client.identity.tick_hz)
    if mains_hz is not None:
        say = f"{name}: the lamp flickers at {mains_hz:.0f} Hz, as on the mains: use direct current."
        return Item(name, "input", False, say)
    if closed == {name}:
        return Item(name, "input", True, f"{name} closes and opens.")
    if not closed:
        say = f"{name} only opened: it rests closed, so it is inverted or shorted."
    elif name not in closed:
        say = f"{' and '.join(sorted(closed))} answered instead of {name}: the leads are swapped."
    else:
        others = " and ".join(sorted(closed - {name}))
        say = f"{others} answered together with {name}: a joint, or light on both sensors?"
    return Item(name, "input", False, say)


def _flicker_hz(edges: Sequence[Edge], name: str, tick_hz: int) -> float | None:
    """Twice the mains' frequency where the light comes back at its rhythm, most of the time; else None."""
    lit = [tick for channel, level, tick in edges if level == 1 and CHANNELS[channel] == name]
    gaps_s = [(after - before) / tick_hz for before, after in pairwise(lit)]
    for hz in (100.0, 120.0):
        near = [gap_s for gap_s in gaps_s if abs(gap_s * hz - 1.0) < NEAR]
        if len(near) >= LEAST_DARKS and 2 * len(near) > len(gaps_s):
            return hz
    return None


def check_controls(talk: BenchTalk, ask: Ask, tell: Tell, timeout_s: float) -> tuple[Item, ...]:
    """The interlock read open and closed; each button seen going down and coming up."""
    tell("Controls: the box listens to its own buttons and fires nothing.")
    interlock = _interlock(talk, ask)
    buttons = tuple(_button(talk, ask, *one, timeout_s) for one in BUTTONS)
    return (interlock, *buttons, _wound(talk, ask, timeout_s))


def _interlock(talk: BenchTalk, ask: Ask) -> Item:
    for word, wanted in (("open", False), ("close", True)):
        if not ask(Question(f"Interlock: {word} it now. Done?", "interlock", word)):
            return Item("interlock", "input", None, "interlock was left out.")
        if talk.client.status().interlock != wanted:
            state = "open" if wanted else "closed"
            say = f"The interlock reads {state} when it should not: do not fire until this is found."
            return Item("interlock", "input", False, say)
    return Item("interlock", "input", True, "interlock reads open and closed.")


def _button(talk: BenchTalk, ask: Ask, name: str, field: str, how: str, timeout_s: float) -> Item:
    if not ask(Question(f"Ready to test {name}? {how}", "press", name)):
        return Item(name, "input", None, f"{name} was left out.")
    with talk.watching():
        moved, came_up = _presses(talk, field, timeout_s)
    # Many release buttons close half-press on their way to full-press.
    others = moved - {field} - ({"half"} if field == "full" else set())
    if others:
        told = " and ".join(sorted(signal for signal, other, _ in BUTTONS if other in others))
        how = "together with" if field in moved else "instead of"
        say = f"{told} answered {how} {name}: exchanged or joined leads?"
    elif not moved:
        say = f"{name}: nothing seen in {timeout_s:.0f} s; does it close to ground, and is it open at rest?"
    elif field not in moved:
        say = f"Only half-press was seen: press {name} to its end, or check its lead."
    elif not came_up:
        say = f"{name} rests closed or stayed down: fit one that is open at rest, or look for a short."
    else:
        return Item(name, "input", True, f"{name} goes down and comes up.")
    return Item(name, "input", False, say)


def _presses(talk: BenchTalk, field: str, timeout_s: float) -> tuple[set[str], bool]:
    """Which buttons moved, and whether the one asked for was down and came up; the box tells of every move,
    each time with the state of all."""
    moved: set[str] = set()
    before: set[str] | None = None
    for event in talk.events("press", timeout_s):
        now = {other for _, other, _ in BUTTONS if event.fields.get(other)}
        moved |= now if before is None else now ^ before
        if before is not None:
            if field in before - now:
                # What was down before and is down still did not move: it rests closed.
                return moved - (before & now), True
            if not now:
                break
        before = now
    return moved, False


def _wound(talk: BenchTalk, ask: Ask, timeout_s: float) -> Item:
    if not ask(Question("Is a 'wound' button fitted, and ready to be pressed once?", "press", "wound")):
        return Item("wound", "input", None, "wound was left out.")
    seen = next(talk.events("wound", timeout_s), None) is not None
    say = "wound answers." if seen else f"wound: nothing seen in {timeout_s:.0f} s; check its lead."
    return Item("wound", "input", seen, say)
