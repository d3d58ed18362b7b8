"""Meter a terminal before anything is wired to it: what each reading means and what to do next.

`judge_terminal` is the judgement of one reading. `TerminalCheck` is the guided check: it asks in order, and
ends in a circuit to use or in a refusal. Pure: a command line or a test supplies the answers.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from coincide.errors import BadInput
from coincide_wiring.circuits.specs import TERMINAL

Kind = Literal["sync", "release"]
KINDS: tuple[Kind, ...] = ("sync", "release")

# ISO 10330 (memory): flash circuits built to it stay within 24 V. Older ones put 200 V and more there.
FLASH_CIRCUIT_LIMIT_V = 24.0
# Above these, nothing of the plain circuits may be joined to the terminal.
DIRECT_LIMIT_V = {"sync": 6.0, "release": 24.0}
# What the high-voltage circuit is computed for.
TOLERANT_LIMIT_V = 400.0
# A contact that carries nothing of its own reads less than this on any meter.
PASSIVE_V = 0.3
# The high-voltage circuit's own cell: a terminal that sits no higher reads closed for ever.
CELL_REACH_V = 8.5
BRIDGE_OHM = 100.0  # in the wire or meter lead that joins two release contacts
CONTACT_LIMIT_A = TERMINAL["release_max_a"]  # half of what an isolator's contact carries
METER_LEAST_V = 600.0

ADVICE_FLASH = (
    "Take the flash off or switch it off, built-in ones too, wait ten minutes with the leads apart, and measure "
    "again; a flash capacitor keeps a lethal charge after switch-off."
)


@dataclass(frozen=True, slots=True)
class Judgement:
    """`direct`: the plain circuit may be joined, as far as this reading goes. `blessed` never follows from a
    0 V reading alone, nor from one above what a flash contact may carry. `circuit` is the circuit to build, or None:
    join nothing. `then` is what comes next."""

    reading_v: float
    kind: Kind
    finding: str
    direct: bool
    blessed: bool
    circuit: str | None
    positive: str | None
    say: str
    then: str


def judge_terminal(reading_v: float, kind: Kind, alternating: bool = False) -> Judgement:
    """Judge one direct-voltage reading, red probe on the centre (sync) or on the full contact (release).

    reading_v: volts as the meter shows them; a meter that shows over-range is `inf`. `alternating`: the
    meter shows an alternating voltage. Raises BadInput for a reading that is no number or an unknown kind.
    """
    if kind not in KINDS:
        raise BadInput(f"The terminal is '{kind}'; it can be {' or '.join(KINDS)}.")
    if math.isnan(reading_v):
        raise BadInput("The reading is not a number; type the volts the meter shows, with its sign.")
    size_v = abs(reading_v)
    positive = ("red" if reading_v > 0 else "black") if size_v >= PASSIVE_V else None
    said = "over the meter's range" if math.isinf(size_v) else f"{reading_v:g} V"

    def verdict(
        finding: str, direct: bool, blessed: bool, circuit: str | None, say: str, then: str
    ) -> Judgement:
        return Judgement(reading_v, kind, finding, direct, blessed, circuit, positive, f"{said}: {say}", then)

    if alternating:
        say = "an alternating voltage has no business on a camera. Join nothing."
        then = "Something is leaking or joined to the mains: unplug everything and have a licensed technician look."
        return verdict("mains", False, False, None, say, then)
    if size_v > TOLERANT_LIMIT_V:
        return verdict(
            "beyond", False, False, None, "more than any circuit here stands. Join nothing.", ADVICE_FLASH
        )
    if size_v > FLASH_CIRCUIT_LIMIT_V:
        say = "high voltage: never join this terminal directly."
        circuit = "high-voltage" if kind == "sync" else None
        then = ADVICE_FLASH + (
            " If it still reads this high, only the high-voltage circuit may go on, wired by someone qualified."
            if kind == "sync"
            else " A release terminal that still reads this high is faulty: leave it alone."
        )
        return verdict("high", False, False, circuit, say, then)
    if kind == "sync" and DIRECT_LIMIT_V[kind] < size_v < CELL_REACH_V:
        say = "too much for the plain circuits, too little for the high-voltage one, which would read closed for ever."
        then = "Join nothing: time this body at the gate or with the row of lamps. " + ADVICE_FLASH
        return verdict("raised", False, False, None, say, then)
    if size_v > DIRECT_LIMIT_V[kind]:
        say = "more than the plain circuit is made for."
        way = "" if reading_v > 0 else "Exchange centre and outer in the lead, the outer is positive. "
        then = (
            "Only a mechanical contact may get the high-voltage circuit: its milliampere can hold a semiconductor on. "
            f"{way}{ADVICE_FLASH}"
        )
        return verdict("raised", False, False, "high-voltage", say, then)
    if size_v < PASSIVE_V:
        say = (
            "no voltage, and that is no blessing: a passive contact, a sleeping body, a probe that touches nothing "
            "and a flash not yet charged all read this."
        )
        then = (
            "Wake the body and measure again while it fires; then test continuity on firing, both ways round."
            if kind == "sync"
            else "Switch the body on, wake its meter and measure again; then bridge the contacts once by hand."
        )
        return verdict("passive", True, False, "cell" if kind == "sync" else "contact", say, then)
    if kind == "sync":
        say = f"a live electronic output, {positive} probe positive: polarised, and steady current can hold it on."
        way = (
            "" if reading_v > 0 else ": here the outer is positive, so exchange centre and outer in the lead"
        )
        then = f"Use the wetted circuit with its centre on the positive side{way}, and check that it reopens."
        return verdict("electronic", True, False, "wetted", say, then)
    if size_v > DIRECT_LIMIT_V["sync"]:
        # A flash contact taken for a release terminal must meet no looser table than its own.
        say = "more than a flash contact's plain circuit is made for; only a release input may carry it."
        then = (
            "Be sure which terminal this is: one a flash would fit is judged by 'coincide wiring terminal sync'. For a "
            "release input 'coincide wiring terminal release' leads on from here."
        )
        return verdict("raised", True, False, "contact", say, then)
    say = f"a release input biased by the body, {positive} probe positive: what a polarity-free isolator is for."
    return verdict(
        "biased", True, True, "contact", say, "Measure the half contact too, then wire the isolators."
    )


def contact_current_a(open_v: float, through_a: float) -> float:
    """Current of a closed contact, A, from the open voltage and the current through BRIDGE_OHM (Ohm's law twice).

    Infinite where the current is all that the resistor allows; the reading itself where there is no voltage to tell.
    """
    if through_a <= 0:
        return 0.0
    inside_ohm = open_v / through_a - BRIDGE_OHM
    if open_v < PASSIVE_V:
        return through_a
    return open_v / inside_ohm if inside_ohm > 0 else math.inf


Step = Literal[
    "flash",
    "meter",
    "alternating",
    "reading",
    "firing",
    "drops",
    "surely",
    "mechanical",
    "forward",
    "reverse",
    "bridge",
    "current",
    "done",
]

QUESTIONS: dict[Step, str] = {
    "flash": "Every flash off the body or switched off for ten minutes, built-in ones folded and off, film out of it?",
    "meter": f"Is the meter rated {METER_LEAST_V:g} V or more, its leads whole?",
    "alternating": "Meter on alternating volts first: does it show 1 V or more between the two contacts?",
    "reading": "Meter on direct volts, red probe on the centre or full contact, black on the outer or common: volts "
    "shown, with the sign?",
    "firing": "Set a slow speed, 1/15 s or longer. The same while the body fires (largest value seen), volts?",
    "drops": "Still on volts, at the slow speed: does the voltage fall to nearly nothing while the shutter is open, "
    "and come back after it?",
    "surely": "More than a flash contact's plain circuit is made for. Is it surely the terminal of a remote release, "
    "which no flash and no flash lead fits?",
    "mechanical": "Does the shutter run without a battery, so that its contact is a mechanical one?",
    "forward": "Meter on continuity or ohms, red on the centre: does the contact close when the body fires?",
    "reverse": "Probes exchanged: does it close again when the body fires?",
    "bridge": "Box off, meter off: join full and common for a moment through a resistor of 100 Ω. Does the body fire?",
    "current": "The same through the meter on its 200 mA range, the 100 Ω in series with it: milliamperes shown?",
    "done": "",
}


@dataclass(frozen=True, slots=True)
class TerminalCheck:
    """The guided check as a state: ask `question`, feed the answer to `answer`, until `step` is 'done'.

    At the end `circuit` names the circuit to build and `verdict` says why; `circuit` None means: join
    nothing. `blessed` is True only when the last test that could refuse it has passed.
    """

    kind: Kind
    step: Step = "flash"
    readings_v: tuple[float, ...] = ()
    forward: bool | None = None
    circuit: str | None = None
    blessed: bool = False
    verdict: str = ""

    @property
    def question(self) -> str:
        """What to ask now; empty when done."""
        return QUESTIONS[self.step]

    @property
    def wants_volts(self) -> bool:
        """True when the answer is a number (volts, at 'current' milliamperes), False when it is yes or no."""
        return self.step in ("reading", "firing", "current")

    def answer(self, given: bool | float) -> TerminalCheck:
        """The next state. Raises BadInput for a voltage where yes or no is due, and the reverse."""
        if self.step == "done":
            raise BadInput("The check is over; start a new one for another terminal.")
        if self.wants_volts:
            if isinstance(given, bool):
                raise BadInput("Type the volts the meter shows, with the sign; 0 is a reading too.")
            return self._volts(float(given))
        if not isinstance(given, bool):
            raise BadInput("Answer yes or no.")
        return self._yes_or_no(given)

    def _volts(self, reading_v: float) -> TerminalCheck:
        if self.step == "current":
            return self._carried(abs(reading_v) * 1e-3)
        judged = judge_terminal(reading_v, self.kind)
        readings = (*self.readings_v, reading_v)
        if self.kind == "sync" and judged.finding == "raised" and judged.circuit is not None:
            return replace(self, step="mechanical", readings_v=readings)
        if not judged.direct:
            return self._end(judged.circuit, False, f"{judged.say} {judged.then}", readings)
        if self.kind == "release":
            following: Step = "surely" if judged.finding == "raised" else "bridge"
            return replace(self, step=following, readings_v=readings)
        if self.step == "reading":
            return replace(self, step="firing", readings_v=readings)
        # An ohmmeter cannot see a live output close: its own voltage is in the way.
        live = max(abs(one) for one in readings) >= PASSIVE_V
        return replace(self, step="drops" if live else "forward", readings_v=readings)

    def _carried(self, ampere: float) -> TerminalCheck:
        """What the contact would carry without the 100 ohm, from the open voltage and the current through them."""
        carried_a = contact_current_a(max(abs(one) for one in self.readings_v), ampere)
        if carried_a > CONTACT_LIMIT_A:
            say = (
                f"Closed without the 100 Ω the contact would carry {carried_a * 1e3:.0f} mA; the isolator's carries "
                f"{CONTACT_LIMIT_A * 1e3:.0f} mA. This terminal switches a motor or a coil; it wants a relay."
            )
            return self._end(None, False, say)
        say = (
            "The terminals fire the body and stay within the limits: a polarity-free isolator does the same."
        )
        return self._end("contact", True, say)

    def _yes_or_no(self, yes: bool) -> TerminalCheck:
        if self.step == "flash":
            return replace(self, step="meter") if yes else self._end(None, False, ADVICE_FLASH)
        if self.step == "meter":
            say = f"Find a meter rated {METER_LEAST_V:g} V or more first: an old flash puts 200 V and more there."
            return replace(self, step="alternating") if yes else self._end(None, False, say)
        if self.step == "alternating":
            if not yes:
                return replace(self, step="reading")
            judged = judge_terminal(1.0, self.kind, alternating=True)
            return self._end(None, False, f"An alternating voltage. {judged.then}")
        if self.step == "bridge":
            if yes:
                return replace(self, step="current")
            say = "The body did not fire: other terminals, asleep, not wound, or self-timer on. Nothing is proved."
            return self._end(None, False, say)
        if self.step == "surely":
            say = "Then it is judged as a flash contact: 'coincide wiring terminal sync'. Join nothing until then."
            return replace(self, step="bridge") if yes else self._end(None, False, say)
        if self.step == "mechanical":
            judged = judge_terminal(max(self.readings_v, key=abs), self.kind)
            say = f"{judged.say} {judged.then}"
            return self._end("high-voltage" if yes else None, False, say)
        if self.step == "drops":
            return self._live(yes)
        if self.step == "forward":
            return replace(self, step="reverse", forward=yes)
        return self._closing(bool(self.forward), yes)

    def _live(self, drops: bool) -> TerminalCheck:
        if not drops:
            say = (
                "The voltage stayed: wrong terminal, suppressed at this speed, or not fired. A slow meter "
                "needs a longer exposure: try again at one second. Nothing is proved."
            )
            return self._end(None, False, say)
        worst = max(self.readings_v, key=abs)
        way = "centre positive" if worst > 0 else "outer positive: exchange centre and outer in the lead"
        say = f"A live electronic output that closes and reopens, {way}. The wetted circuit."
        return self._end("wetted", True, say)

    def _closing(self, forward: bool, reverse: bool) -> TerminalCheck:
        if not forward and not reverse:
            say = (
                "The contact was never seen to close: wrong terminal, another contact than X, suppressed at this "
                "speed, or not fired. Nothing is proved; start again at one second."
            )
            return self._end(None, False, say)
        worst = judge_terminal(max(self.readings_v, key=abs), self.kind)
        if forward and reverse and worst.finding == "passive":
            return self._end("cell", True, "A dry mechanical contact, both ways alike: the cell circuit.")
        way = "centre positive" if forward else "outer positive: exchange centre and outer in the lead"
        say = f"It conducts one way or carries a voltage: a polarised electronic output, {way}. The wetted circuit."
        return self._end("wetted", True, say)

    def _end(
        self, circuit: str | None, blessed: bool, verdict: str, readings: tuple[float, ...] | None = None
    ) -> TerminalCheck:
        kept = self.readings_v if readings is None else readings
        return replace(self, step="done", circuit=circuit, blessed=blessed, verdict=verdict, readings_v=kept)
