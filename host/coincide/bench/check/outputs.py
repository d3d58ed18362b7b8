"""Bench test of the release outputs: each clicked in turn, the person confirming."""

from __future__ import annotations

from coincide.bench.check.record import Item
from coincide.bench.check.talk import OUTPUTS, Ask, BenchTalk, Edge, Tell
from coincide.bench.person import Question
from coincide_firmware.app.pins import CHANNELS

CLICK_NS = 500_000_000
EDGE_TOLERANCE = 0.02
PLACE = {"half": "half and common", "full": "full and common"}


NO_FLASH = (
    "Is there no flash in the shoe of either body, none on its sync contact, and every built-in one folded? The shoe "
    "is the sync contact once more, and may be one conductor with the release's common."
)
FLASH_LEFT_ON = "{what} left out: take the flash off, wait ten minutes, and begin this stage again."
PULL_DOWNS = {"half_a": "R13A", "full_a": "R14A", "half_b": "R13B", "full_b": "R14B"}


def check_outputs(talk: BenchTalk, ask: Ask, tell: Tell) -> tuple[Item, ...]:
    """Look whether the pull-downs are there, then click each output; the person says whether that contact, and no
    other, closed. Where a pull-down is missing nothing is clicked. Raises BoxFailed, and BadInput when the cautions
    were not acknowledged."""
    tell(
        "Outputs: bodies off, a meter on ohms (or a lamp and a cell) across the socket named. For a first release put "
        "one body on instead: it must act, and nothing else. The interlock is opened first, for the pull-downs, "
        "and because the box closes no output before it has seen it open."
    )
    if not ask(Question(NO_FLASH)):
        return (Item("flash", "output", None, FLASH_LEFT_ON.format(what="The outputs were")),)
    held = _pull_downs(talk, ask)
    if held.passed is False:
        return (held,)
    if not talk.client.status().interlock:
        ask(Question("The interlock is open, so no output can close. Close it. Done?", "interlock", "close"))
    return (held, *(_output(talk, ask, number, name) for number, name in enumerate(OUTPUTS)))


def _pull_downs(talk: BenchTalk, ask: Ask) -> Item:
    """Each release pin as an input with the chip's own pull-up: the resistor outside must hold it low."""
    asked = "Open the interlock: the pull-downs are looked at first, and nothing can close. Done?"
    if not ask(Question(asked, "interlock", "open")) or talk.client.status().interlock:
        say = "The pull-downs were left out: the interlock was not opened."
        return Item("pull_downs", "output", None, say)
    held = talk.client.pull_downs()
    missing = [name for number, name in enumerate(OUTPUTS) if not held >> number & 1]
    if missing:
        say = (
            f"Nothing holds {' and '.join(missing)} low: {' and '.join(PULL_DOWNS[name] for name in missing)} missing, "
            "not soldered, or far too large. That contact may close while the board starts: no body goes on, and "
            "nothing was clicked, until 4.7 kΩ lead from the pin to ground."
        )
        return Item("pull_downs", "output", False, say)
    return Item("pull_downs", "output", True, f"{', '.join(PULL_DOWNS.values())} hold the release pins low.")


def _output(talk: BenchTalk, ask: Ask, number: int, name: str) -> Item:
    press, body = name.split("_")
    place = f"socket {body.upper()}, {PLACE[press]}"
    if not ask(Question(f"Meter, or body, on {place}? It will close for half a second.")):
        return Item(name, "output", None, f"{name} was left out.")
    with talk.armed():
        edges = talk.pulse(number, CLICK_NS)
    wrong = wrong_pulse(number, edges, CLICK_NS, talk.client.identity.tick_hz)
    if wrong:
        return Item(name, "output", False, wrong)
    if ask(Question(f"Did {place} close for half a second, and nothing else?")):
        return Item(name, "output", True, f"{name} closes {place}.")
    return Item(
        name,
        "output",
        False,
        f"{name} left the board but {place} did not close, or something else did: see 'Nothing fires' and 'A and B "
        "swapped' in docs/wiring-faults.md.",
    )


def wrong_pulse(number: int, edges: tuple[Edge, ...], closure_ns: int, tick_hz: int) -> str:
    """What is wrong with the outputs' own edges of a pulse; '' when they are as asked."""
    name = OUTPUTS[number]
    others = sorted({CHANNELS[channel] for channel, _, _ in edges if channel < 4 and channel != number})
    if others:
        return f"{name} was asked for and {' and '.join(others)} moved too: a short between outputs?"
    own = [(level, tick) for channel, level, tick in edges if channel == number]
    if [level for level, _ in own] != [1, 0]:
        return f"{name} was asked for and its pin did not close once and open once: is the pin shorted?"
    held_s = (own[1][1] - own[0][1]) / tick_hz
    if abs(held_s - closure_ns * 1e-9) > EDGE_TOLERANCE * closure_ns * 1e-9:
        return f"{name} stayed closed {held_s * 1e3:.1f} ms instead of {closure_ns * 1e-6:.0f} ms."
    return ""
