"""Every single short and open of the release path, and what it does: worked out by solving the netlist.

The path is all that lies between the chip and a body's contact, the interlock among it. Each part fails short and open,
each isolator also at its contact, each output of the chip also stuck high. What happens is read off the solved circuit
in three states: at rest, while the output is driven, and with the interlock open while the chip drives everything.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from coincide_wiring.check.behaviour import IDLE, INTERLOCK, RELEASES
from coincide_wiring.check.operate import OUTPUTS, OperatingPoint, State, operating_point
from coincide_wiring.circuits.model import Netlist, Part, part
from coincide_wiring.netlist import Build, in_use

ALL_ON = dict.fromkeys(OUTPUTS, 1)
POLE = {"S62 sense": ("SW_INTERLOCK", "GND"), "S62 return": ("LED_RETURN", "GND")}


@dataclass(frozen=True, slots=True)
class SingleFault:
    """One part failed one way. `closed_at_rest`: contacts closed though nothing is fired, the interlock closed;
    `at_boot`: the same while nobody drives the outputs. `dead`: outputs that no longer close their contact.
    `stays_closed`: contacts still closed with the interlock open while the chip drives all outputs. `reads_open`,
    `reads_closed`: whether the chip still sees the interlock open and closed; it arms only after both."""

    part: str
    fails: str
    closed_at_rest: tuple[str, ...]
    at_boot: tuple[str, ...]
    dead: tuple[str, ...]
    stays_closed: tuple[str, ...]
    reads_open: bool
    reads_closed: bool

    @property
    def covered(self) -> bool:
        """With the interlock open no contact is closed, whatever the chip does."""
        return not self.stays_closed

    @property
    def say(self) -> str:
        """What a person would see, one sentence a consequence."""
        said = []
        if self.closed_at_rest:
            said.append(f"{' and '.join(self.closed_at_rest)} closed with nothing fired")
        elif self.at_boot:
            said.append(
                f"{' and '.join(self.at_boot)} may close while the board boots, unless the interlock is open"
            )
        if self.closed_at_rest and self.stays_closed:
            said.append("the interlock does not open it: **pull the lead**")
        elif self.closed_at_rest:
            said.append("the interlock opens it")
        elif self.stays_closed:
            said.append("the interlock works through the chip alone, no longer without it")
        if self.dead:
            said.append(f"{' and '.join(self.dead)} {'does' if len(self.dead) == 1 else 'do'} not fire")
        if not self.reads_open:
            said.append("the box never sees the interlock open and refuses to arm")
        if not self.reads_closed:
            said.append("the box reads the interlock open for ever and refuses to arm")
        return "; ".join(said) or "nothing is seen; everything still opens"


def release_faults(build: Build | None = None) -> tuple[SingleFault, ...]:
    """Every single short and open of body A's release path and of the interlock. Body B's are the same with B."""
    sound = in_use(build or Build())
    found = []
    for ref in ("R11A", "R13A", "K11A", "D11A", "R12A", "R14A", "K12A", "D12A", "R621", "R622", "C621"):
        one = sound.part(ref)
        if one.kind == "photorelay":
            found += [
                _seen(sound.changed(replace(one, kind="insulator")), ref, "LED open"),
                _seen(_bridged(sound, "short", one.pins["anode"], one.pins["cathode"]), ref, "LED short"),
                _seen(_bridged(sound, "short", one.pins["out1"], one.pins["out2"]), ref, "contact short"),
                _seen(sound.changed(replace(one, kind="insulator")), ref, "contact open"),
            ]
            continue
        found += [
            _seen(sound.without(ref), ref, "open"),
            _seen(_bridged(sound, "short", *_ends(one)), ref, "short"),
        ]
    switch = sound.part("S62")
    for name, pins in (("S62 sense", ("one", "other")), ("S62 return", ("return1", "return2"))):
        opened = sound.changed(switch.rewired(pins[0], "nc_pole"))
        found += [
            _seen(opened, name, "open or lead off"),
            _seen(_bridged(sound, "short", *POLE[name]), name, "short"),
        ]
    for output in ("half_a", "full_a"):
        found += [_stuck(sound, output, 1), _stuck(sound, output, 0)]
    return tuple(found)


def _ends(one: Part) -> tuple[str, str]:
    first, second = one.pins.values()
    return first, second


def _bridged(netlist: Netlist, ref: str, one: str, other: str) -> Netlist:
    return netlist.with_part(part(ref, "wire", "", "", {"one": one, "other": other}))


def _contacts(netlist: Netlist, point: OperatingPoint) -> tuple[str, ...]:
    """Contacts that conduct: through their isolator, or because they are bridged."""
    bridges = {frozenset(one.pins.values()) for one in netlist.of_kind("wire")}
    closed = []
    for one in netlist.of_kind("photorelay"):
        ends = frozenset((one.pins["out1"], one.pins["out2"]))
        if point.ampere[f"{one.ref}.led"] >= one.value("trigger_a") or ends in bridges:
            closed.append(one.pins["out1"])
    return tuple(closed)


def _seen(netlist: Netlist, ref: str, fails: str, held: tuple[str, int] | None = None) -> SingleFault:
    def level(wanted: dict[str, int]) -> dict[str, int]:
        return wanted if held is None else {**wanted, held[0]: held[1]}

    rest = _contacts(netlist, operating_point(netlist, State(level(IDLE), INTERLOCK)))
    opened = operating_point(netlist, State(level(ALL_ON)))
    dead = tuple(
        output
        for output in RELEASES
        if _contact(output)
        not in _contacts(netlist, operating_point(netlist, State(level({**IDLE, output: 1}), INTERLOCK)))
    )
    board = netlist.of_kind("board")[0]
    closed = operating_point(netlist, State(level(IDLE), INTERLOCK))
    boot = operating_point(netlist, State({} if held is None else {held[0]: held[1]}, INTERLOCK))
    at_boot = tuple(
        one.pins["out1"]
        for one in netlist.of_kind("photorelay")
        if boot.ampere[f"{one.ref}.led"] > one.value("holdoff_a")
    )
    return SingleFault(
        ref,
        fails,
        rest,
        at_boot,
        dead,
        _contacts(netlist, opened),
        opened.volt["interlock"] >= board.value("input_high_v"),
        closed.volt["interlock"] <= board.value("input_low_v"),
    )


def _contact(output: str) -> str:
    press, body = output.upper().split("_")
    return f"{body}_{press}"


def _stuck(sound: Netlist, output: str, at: int) -> SingleFault:
    return _seen(sound, f"U1 {output}", f"output stuck {'high' if at else 'low'}", held=(output, at))


def as_markdown() -> str:
    """The table; docs/wiring-faults.md holds this text."""
    lines = ["| part | fails | what happens |", "|---|---|---|"]
    lines += [f"| {one.part} | {one.fails} | {one.say} |" for one in release_faults()]
    return "\n".join(lines)
