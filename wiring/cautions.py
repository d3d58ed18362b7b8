"""Cautions as data, each tied to the place where the hand is about to act.

The docs print all of them, the command line prints those of a place, and the first real arm on a machine
asks for an acknowledgement of the text as it stands (`digest`): change the text and it asks again.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

PLACES = {
    "open": "Before opening anything or wiring",
    "meter": "Before metering a terminal",
    "arm": "Before the first release",
    "lamp": "Before a lamp is lit",
    "gate": "Before a sensor goes to the gate",
    "solenoid": "Before a solenoid is powered",
}


@dataclass(frozen=True, slots=True)
class Caution:
    """`place` is a key of PLACES; `grave` marks what can kill or blind."""

    key: str
    place: str
    grave: bool
    say: str


CAUTIONS = (
    Caution(
        "never-open",
        "open",
        True,
        "Never open a camera body or a flash. Nothing here needs it; everything is reached from outside.",
    ),
    Caution(
        "capacitor",
        "open",
        True,
        "A flash capacitor holds a lethal charge long after the flash is switched off and its batteries are out.",
    ),
    Caution(
        "codes",
        "open",
        False,
        "Your local electrical code comes before this page. In doubt, ask a licensed technician.",
    ),
    Caution(
        "potentials",
        "open",
        False,
        "Two bodies may sit at different voltages. Keep both shells off the tripod plate and the rig's metal with "
        "insulating plates, and join nothing of one body to the other: not even the outers of their sync sockets.",
    ),
    Caution(
        "flash-off",
        "meter",
        True,
        "Take off or switch off every flash first, built-in ones included, and wait ten minutes.",
    ),
    Caution(
        "meter-rating",
        "meter",
        True,
        "Use a meter rated 600 V or more with whole leads: older flashes put 200 V and more on the contact. Keep "
        "one hand away from the metal.",
    ),
    Caution(
        "zero-is-no-blessing",
        "meter",
        False,
        "0 V is no blessing: a passive contact reads 0 V, and so does a probe that touches nothing. Then test "
        "continuity while the body fires, and the polarity. 'coincide wiring terminal' leads through it.",
    ),
    Caution(
        "above-limit",
        "meter",
        True,
        "Above 6 V on a sync contact or 24 V on a release terminal, never join the plain circuit.",
    ),
    Caution(
        "no-flash-on",
        "arm",
        True,
        "No flash on the sync contact while the box is on it, not even through a splitter, and none left in the shoe: "
        "that is the same contact.",
    ),
    Caution(
        "fingers",
        "arm",
        False,
        "Arming lets the box fire both bodies. Keep fingers, straps and sensors off curtains, blades and mirrors.",
    ),
    Caution(
        "interlock",
        "arm",
        False,
        "The interlock switch is the way to stop: open, it opens both releases at once, whatever the computer does. "
        "Should an isolator's contact have stuck, pull the lead.",
    ),
    Caution(
        "mains-lamp",
        "lamp",
        True,
        "No open mains lamps on the bench. Use a closed luminaire or a double-insulated direct-current supply, "
        "and keep it away from liquids and from metal you hold.",
    ),
    Caution(
        "eyes",
        "lamp",
        True,
        "Never look into a bright or an infrared source, and never through a finder at one: infrared gives no "
        "glare to warn you.",
    ),
    Caution(
        "cloth",
        "lamp",
        False,
        "No hot lamp and no focused sun on cloth curtains: they burn through in seconds.",
    ),
    Caution(
        "laser",
        "lamp",
        True,
        "No laser towards a body: it ruins a digital sensor, and through a finder an eye.",
    ),
    Caution(
        "film-out",
        "gate",
        False,
        "Take the film out before opening the back.",
    ),
    Caution(
        "no-touch",
        "gate",
        False,
        "Never touch curtains, blades or a sensor's cover glass with anything. The holder rests on the film rails, "
        "clear of the curtain, and is fixed before the body is wound.",
    ),
    Caution(
        "solenoid-heat",
        "solenoid",
        False,
        "A solenoid gets hot, slows as it does, and can push too far: set the stroke stop first, keep pulls short "
        "(150 ms, no more than one a second), and let it cool before touching it.",
    ),
    Caution(
        "solenoid-supply",
        "solenoid",
        False,
        "Give each solenoid its own double-insulated supply, never the board's 5 V, with its own switch within reach: "
        "if a plunger stays down, that switch lets it go, not the interlock. Unplug the supply before changing a wire.",
    ),
)


def cautions_for(place: str) -> tuple[Caution, ...]:
    """Cautions of one place. Raises KeyError for a place PLACES does not have."""
    if place not in PLACES:
        raise KeyError(place)
    return tuple(one for one in CAUTIONS if one.place == place)


def card_lines() -> tuple[str, ...]:
    """The grave cautions of metering and of the first release, for a card in the pocket."""
    return tuple(one.say for one in CAUTIONS if one.grave and one.place in ("meter", "arm"))


def digest() -> str:
    """Sixteen hex digits that change when any caution's text does."""
    text = "\n".join(f"{one.key}|{one.place}|{one.grave}|{one.say}" for one in CAUTIONS)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def as_markdown(heading: str = "##") -> str:
    """All cautions as Markdown, place by place; docs/cautions.md is this text."""
    lines: list[str] = []
    for place, title in PLACES.items():
        lines += [f"{heading} {title}", ""]
        lines += [f"- {'**Danger.** ' if one.grave else ''}{one.say}" for one in cautions_for(place)]
        lines.append("")
    return "\n".join(lines)
