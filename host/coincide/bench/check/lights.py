"""Bench test of what the box shows: its two lights, its lamp row. The person looks and says."""

from __future__ import annotations

from coincide.bench.check.record import Item
from coincide.bench.check.talk import ARM_MS, Ask, BenchTalk, Tell
from coincide.bench.person import Question
from coincide_firmware.app.pins import LAMPS

SHOWN_S = 2.0
LAMP_STEP_NS = 100_000_000


def check_lights(talk: BenchTalk, ask: Ask, tell: Tell) -> tuple[Item, ...]:
    """Blue shines while the box is armed, orange flickers when the interlock opens."""
    tell("Lights: look at the box. Nothing fires.")
    if not talk.client.status().interlock:
        ask(Question("The interlock is open, so the box cannot arm. Close it. Done?", "interlock", "close"))
    return (_blue(talk, ask), _orange(talk, ask))


def _blue(talk: BenchTalk, ask: Ask) -> Item:
    if not ask(Question("Blue light: it will shine for two seconds. Looking?")):
        return Item("led_ok", "light", None, "led_ok was left out.")
    with talk.armed():
        talk.client.arm(ARM_MS)
        talk.pass_time(SHOWN_S)
    if ask(Question("Did the blue light shine for two seconds, and the orange one not?", "seen", "led_ok")):
        return Item("led_ok", "light", True, "led_ok lights blue.")
    return Item(
        "led_ok", "light", False, "led_ok did not light: LED reversed, or its transistor; see stage 4."
    )


def _orange(talk: BenchTalk, ask: Ask) -> Item:
    asked = "Orange light: open the interlock and look. Did it flicker for two seconds, and the blue one not?"
    lit = ask(Question(asked, "interlock", "open"))
    opened = not talk.client.status().interlock
    ask(Question("Close the interlock again. Done?", "interlock", "close"))
    if not opened:
        return Item("led_out", "light", None, "led_out was left out: the interlock was not opened.")
    if lit:
        return Item("led_out", "light", True, "led_out lights orange.")
    return Item(
        "led_out", "light", False, "led_out did not light: LED reversed, or its transistor; see stage 4."
    )


def check_lamp_row(talk: BenchTalk, ask: Ask) -> tuple[Item, ...]:
    """The row run through once, slowly."""
    row_s = LAMPS * LAMP_STEP_NS * 1e-9
    if not ask(Question(f"Is a lamp row fitted, and in sight? It will run once, in {row_s:.0f} s.")):
        return (Item("lamp_row", "lamps", None, "The lamp row was left out."),)
    talk.client.lamps(LAMPS, LAMP_STEP_NS, 1)
    talk.pass_time(row_s)
    if ask(
        Question(
            f"Did all {LAMPS} light, one after another along the row, and go dark?",
            "seen",
            "lamp_row",
        )
    ):
        return (Item("lamp_row", "lamps", True, f"All {LAMPS} lamps light in turn."),)
    say = (
        "The lamp row does not run through: dark from one register on means its data lead, a lamp alone its own "
        "resistor, lamps out of order the lines of its register."
    )
    return (Item("lamp_row", "lamps", False, say),)
