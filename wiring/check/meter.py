"""What a meter shows at each stage of the bench build, from the solved circuit."""

from __future__ import annotations

from dataclasses import dataclass

from coincide_firmware.app.pins import PINS
from coincide_wiring.check.behaviour import charged_netlist
from coincide_wiring.check.operate import OUTPUTS, State, operating_point
from coincide_wiring.circuits.model import Part
from coincide_wiring.circuits.packages import package_of
from coincide_wiring.circuits.specs import GATE_LX
from coincide_wiring.netlist import Build, in_use

# Kinds that are easiest to find: a case with numbered terminals, then a part with two ends.
TOUCHED = ("photorelay", "optocoupler", "opamp", "led", "mosfet", "trimmer", "resistor")
IDLE = dict.fromkeys(OUTPUTS, 0)
MAY_FIRE = frozenset({"S62"})
COIL_ON = MAY_FIRE | {"S51A", "S51B"}


@dataclass(frozen=True, slots=True)
class MeterRow:
    """Red and black probe, what is going on, and the volts a meter shows then."""

    stage: str
    red: str
    black: str
    when: str
    volts: float

    @property
    def shown(self) -> str:
        """The reading in words: parts differ, so two figures at the most."""
        if abs(self.volts) < 0.15:
            return "about 0 V"
        return f"{self.volts:.1f} V"


# stage, red probe, black probe, words for the state, the state itself
_PLACES: tuple[tuple[str, str, str, str, State], ...] = (
    ("board", "VBUS", "GND", "USB plugged in", State(IDLE)),
    ("board", "3V3", "GND", "USB plugged in", State(IDLE)),
    ("release", "half_a", "GND", "in the boot-loader, at the very most", State()),
    ("release", "half_a", "GND", "firmware running, nothing fired", State(IDLE)),
    ("release", "half_a", "GND", "while half_a is clicked", State({**IDLE, "half_a": 1}, MAY_FIRE)),
    ("release", "A_HALF_LED", "GND", "while half_a is clicked", State({**IDLE, "half_a": 1}, MAY_FIRE)),
    ("release", "LED_RETURN", "GND", "while half_a is clicked", State({**IDLE, "half_a": 1}, MAY_FIRE)),
    ("controls", "interlock", "GND", "interlock open", State(IDLE)),
    ("controls", "interlock", "GND", "interlock closed", State(IDLE, closed=frozenset({"S62"}))),
    ("controls", "button_half", "GND", "button let go", State(IDLE)),
    ("controls", "button_half", "GND", "button pressed", State(IDLE, closed=frozenset({"S60"}))),
    ("lights", "LED70_A", "LED70_K", "blue LED lit", State({**IDLE, "led_ok": 1})),
    ("lights", "LED71_A", "LED71_K", "orange LED lit", State({**IDLE, "led_out": 1})),
    ("sync", "sync_a", "GND", "sync socket open", State(IDLE)),
    ("sync", "sync_a", "GND", "centre and outer joined", State(IDLE, contacts=frozenset("A"))),
    ("sync", "A_SYNC_A", "A_SYNC_K", "centre and outer joined", State(IDLE, contacts=frozenset("A"))),
    ("gate", "LIGHT_A1", "GND", "sensor covered", State(IDLE)),
    (
        "gate",
        "LIGHT_A1",
        "GND",
        "lamp full on the slit",
        State(IDLE, light_lx={"a1": GATE_LX["transimpedance"][0]}),
    ),
    ("gate", "WIPER_A1", "GND", "after setting: half of the line above", State(IDLE)),
    ("gate", "gate_a1", "GND", "sensor covered", State(IDLE)),
    (
        "gate",
        "gate_a1",
        "GND",
        "lamp full on the slit",
        State(IDLE, light_lx={"a1": GATE_LX["transimpedance"][0]}),
    ),
    ("solenoid", "A_SOL_S", "A_SOL_N", "supply switch on", State(IDLE, COIL_ON)),
    ("solenoid", "A_FULL", "A_SOL_N", "nothing fired", State(IDLE, COIL_ON)),
    ("solenoid", "A_FULL", "A_SOL_N", "while full_a is clicked", State({**IDLE, "full_a": 1}, COIL_ON)),
)


def meter_rows(stage: str) -> tuple[MeterRow, ...]:
    """Readings of one stage. Raises KeyError for a stage that has none."""
    chosen = [place for place in _PLACES if place[0] == stage]
    if not chosen:
        raise KeyError(stage)
    how = "solenoid" if stage == "solenoid" else "contact"
    netlist = charged_netlist(in_use(Build(release=(how, how))))
    found = []
    for name, red, black, when, state in chosen:
        found.append(MeterRow(name, red, black, when, operating_point(netlist, state).between(red, black)))
    return tuple(found)


PLAIN_NAMES = ("GND", "3V3", "VBUS", *(row[0] for row in PINS))


def _rank(one: Part) -> int:
    return TOUCHED.index(one.kind) if one.kind in TOUCHED else len(TOUCHED)


def touched(stage: str) -> tuple[tuple[str, str, str], ...]:
    """Where a probe finds each net of a stage that is no pin of the board's: (net, part, its terminal), a part that is
    soldered and whose terminals are numbered."""
    found: list[tuple[str, str, str]] = []
    for row in meter_rows(stage):
        how = "solenoid" if stage == "solenoid" else "contact"
        netlist = in_use(Build(release=(how, how)))
        for net in (row.red, row.black):
            if net not in PLAIN_NAMES and net not in [one for one, _, _ in found]:
                ref, pin = min(netlist.nets()[net], key=lambda end: (_rank(netlist.part(end[0])), end))
                pads = package_of(netlist.part(ref)).pads
                found.append((net, ref, next(pad for pad, name in pads.items() if name == pin)))
    return tuple(found)


def touched_words(stage: str) -> str:
    """'Where to touch: `LIGHT_A1` is terminal 6 of U42A1.'; '' where every net is a pin of the board."""
    ends = [f"`{net}` is terminal {pad} of {ref}" for net, ref, pad in touched(stage)]
    return f"Where to touch: {', '.join(ends)}." if ends else ""


def as_markdown(stage: str) -> str:
    """Readings of one stage as a Markdown table; docs/build-the-box.md holds this text."""
    lines = ["| red probe | black probe | when | meter shows |", "|---|---|---|---|"]
    lines += [f"| `{row.red}` | `{row.black}` | {row.when} | {row.shown} |" for row in meter_rows(stage)]
    return "\n".join(lines)
