"""What was found in a recording, and how to make one, in sentences."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from coincide.report.words.numbers import count

TONIGHT = "What you will know tonight: which body is late, and to about 0.5 ms (light) or 2 ms (sound)."
BOX_STAYS = "The box stays the way to release, to set an offset, and to be exact."

SAFETY = (
    "Nothing that leads to a sound input or an instrument touches metal of a body: the sleeve of a stereo plug, "
    "the brass of a "
    "piezo disc and an analyser's ground would join both shells. Diodes sit in a plastic holder, contact "
    "microphones on tape "
    "over their whole brass.",
    "The laptop runs on its battery, its charger unplugged; so does the recorder.",
    "No sync contact and no release terminal goes to a sound input or an instrument: an old flash circuit puts "
    "200 V and more on "
    "them. Only through the box's isolators; an instrument takes gate sensors, or the box's isolated side.",
    "Bodies empty, unwound and without flash while diodes go in. Nobody looks into a lamp, nor into the lens it "
    "shines through.",
)


class AccountLike(Protocol):
    """What is told of a recording."""

    @property
    def source(self) -> str: ...
    @property
    def bangs(self) -> int: ...
    @property
    def pairs(self) -> int: ...
    @property
    def alone(self) -> tuple[int, int]: ...
    @property
    def left_out(self) -> tuple[tuple[float, str], ...]: ...
    @property
    def named(self) -> str | None: ...
    @property
    def sentences(self) -> tuple[str, ...]: ...


def account_sentences(account: AccountLike) -> list[str]:
    """Bangs heard, pairs made, what was left out and why, how the channels got their names."""
    first = f"{count(account.bangs, 'bang')} in the recording, {count(account.pairs, 'pair')} of both bodies"
    if sum(account.alone):
        first += f", {account.alone[0]} of A alone, {account.alone[1]} of B alone"
    said = [first + "."]
    if account.source != "instrument":
        said.append(
            {
                "bangs": "A is the body that was fired alone first, B the one that was fired alone after it.",
                "said": "Which channel is which body was taken from --channels.",
            }.get(
                account.named or "",
                "Which body is on which channel is not known: the recording does not begin with three bangs of "
                "A alone, then "
                "three of B. It says left and right.",
            )
        )
    reasons: dict[str, list[float]] = {}
    for at_s, why in account.left_out:
        reasons.setdefault(why, []).append(at_s)
    for why, at in reasons.items():
        when = ", ".join(f"{one:.1f}" for one in at[:5]) + (", ..." if len(at) > 5 else "")
        said.append(f"Left out, because {why.rstrip('.')}: {count(len(at), 'bang')} (at {when} s).")
    said += account.sentences
    return said


# What somebody has, whether it will do, and what to connect.
HAVE = {
    "interface": "a sound interface with two inputs, line or microphone",
    "recorder": "a pocket recorder with a stereo microphone or line socket",
    "socket": "a laptop's microphone socket",
    "telephone": "a telephone or tablet",
    "analyser": "a logic analyser or oscilloscope that saves VCD or CSV",
}

# The circuits by which two diodes are connected to it.
LEADS = {
    "interface": ("line", "microphone"),
    "recorder": ("line", "microphone"),
    "socket": ("microphone",),
    "telephone": ("microphone",),
    "analyser": ("analyser",),
}


def how_sentences(have: str, source: str) -> list[str]:
    """Whether it will do, what to connect, what to do, and what will be known."""
    return [*_will_it_do(have), "", *_connect(have, source), "", *_do(source), "", *_known(source)]


def _will_it_do(have: str) -> Sequence[str]:
    if have == "analyser":
        return (
            "It will do, for light: two gate sensors, or the isolated side of the box. 50 us a sample or finer.",
        )
    if have == "telephone":
        return (
            "It will hardly do: its socket and its built-in microphones have one channel, and its files are "
            "lossy. A stereo "
            "interface for telephones that records WAV will do. A lossy file is refused for sound and widened "
            "for light.",
        )
    if have == "socket":
        return (
            "It will do if the socket is stereo: many laptop sockets are for headsets and have one channel, and "
            "then the "
            "recording is refused as mono. Switch every 'enhancement' off: noise suppression, automatic level, echo.",
        )
    return (
        "It will do. Both bodies go into one stereo file, WAV or FLAC, 44.1 kHz or more, automatic level and "
        "limiter off.",
    )


def _connect(have: str, source: str) -> Sequence[str]:
    if source == "sound":
        return (
            "Connect: one contact microphone (a piezo disc) on each body, its whole brass under tape, taped "
            "firmly to the top plate; "
            "A's on the left channel, B's on the right.",
            "Put each body on its own folded towel, half a metre apart, off the rig's plate: a common plate "
            "makes every rig look "
            "well adjusted.",
        )
    holder = (
        "Connect: one bare photodiode at each film gate, in a plastic holder behind a slit of 1 mm that lies "
        "across the sweep, at the "
        "middle of the rails: the same holder and the same diode in both. A's on the left channel, B's on the right.",
    )
    place = (
        "Measure where each slit sits along the sweep: a millimetre is 0.1 to 0.4 ms, more than all the rest. "
        "--place '0.5 mm' says how well you know it.",
        "Backs under dark cloth. A torch at full power (a dimmed one is chopped) or a lamp on direct current, "
        "through the lens.",
    )
    if have == "analyser":
        return (
            *holder,
            "Each diode with its comparator, as in 'coincide wiring'; a channel each, one common ground.",
            *place,
        )
    return (
        *holder,
        "Microphone input with plug-in power: cathode to the tip (left) or the ring (right), anode to the "
        "sleeve; no resistor.",
        "Line input: the same, with 1 to 10 kOhm across the diode; its top below 0.2 V.",
        "A solar cell only with 100 ohm across each square centimetre, behind the same slit, two of one kind.",
        *place,
    )


def _do(source: str) -> Sequence[str]:
    return (
        "1. Start the recorder. Wait two seconds in silence.",
        "2. Three bangs of A alone (B unwound" + (", or its gate covered)." if source != "sound" else ")."),
        "3. Three bangs of B alone.",
        "4. Both together, twenty times or more, as you fire in the field. A second or more of quiet after "
        "each; wind in peace.",
        "5. Stop the recorder. coincide recording FILE --" + source,
    )


def _known(source: str) -> Sequence[str]:
    if source == "sound":
        return (
            "You will know which body is late, to about 2 ms, for two bodies of a kind at equal times (1/30 and "
            "slower serve best). "
            "No exposure, no lag.",
            BOX_STAYS,
        )
    return (
        "You will know which body is late, to 0.1 to 0.5 ms, and both exposures. No lag: nothing says when it "
        "was pressed.",
        BOX_STAYS,
    )
