"""The electrical rule check passes every build and catches every way we could think of to spoil one."""

from __future__ import annotations

import ast
import inspect
from collections.abc import Callable
from dataclasses import replace
from itertools import combinations, pairwise, product
from types import ModuleType

import numpy as np
import pytest

from coincide.errors import BadInput
from coincide_firmware.app.pins import PINS
from coincide_wiring.check import behaviour as check_behaviour
from coincide_wiring.check import presence as check_presence
from coincide_wiring.check import rules as check_module
from coincide_wiring.check.domains import domains, path_between
from coincide_wiring.check.fault import Fault
from coincide_wiring.check.rules import check, faults, structural_faults
from coincide_wiring.circuits import specs
from coincide_wiring.circuits.body import RELEASE_VARIANTS, loopback
from coincide_wiring.circuits.model import NOT_CONNECTED, Netlist, part
from coincide_wiring.circuits.sensors import SYNC_VARIANTS
from coincide_wiring.netlist import Build, digest, in_use, zero_check

BUILDS = [
    Build((sync_a, sync_b), (release, release), (gate, gate))
    for (sync_a, sync_b), release, gate in product(
        [*((one, one) for one in SYNC_VARIANTS), ("cell", "high-voltage")],
        RELEASE_VARIANTS,
        ("transimpedance", "load"),
    )
]
BUILDS.append(Build(gate=("through-lens", "through-lens")))
PLAIN = in_use(Build())
SOLENOID = in_use(Build(release=("solenoid", "solenoid")))

PLUGGED = zero_check(Build())
AMPLIFIED = PLAIN
LOADED = in_use(Build(gate=("load", "load")))
HIGH = in_use(Build(sync=("high-voltage", "high-voltage")))

Spoil = Callable[[Netlist], Netlist]


def rewire(ref: str, **nets: str) -> Spoil:
    def spoil(netlist: Netlist) -> Netlist:
        new = netlist.part(ref)
        for pin, net in nets.items():
            new = new.rewired(pin, net)
        return netlist.changed(new)

    return spoil


def revalue(ref: str, name: str, value: float) -> Spoil:
    return lambda netlist: netlist.changed(netlist.part(ref).revalued(name, value))


def drop(ref: str) -> Spoil:
    return lambda netlist: netlist.without(ref)


def wire(one: str, other: str) -> Spoil:
    return lambda netlist: netlist.with_part(part("W99", "wire", "Wire", "", {"one": one, "other": other}))


def swap_board(one: str, other: str) -> Spoil:
    def spoil(netlist: Netlist) -> Netlist:
        board = netlist.part("U1")
        return netlist.changed(
            board.rewired(one, board.pins[other]).rewired(other, board.pins[one]),
        )

    return spoil


def unpin(pin: str) -> Spoil:
    def spoil(netlist: Netlist) -> Netlist:
        board = netlist.part("U1")
        return netlist.changed(
            replace(board, pins={one: net for one, net in board.pins.items() if one != pin})
        )

    return spoil


def both(*spoils: Spoil) -> Spoil:
    def spoil(netlist: Netlist) -> Netlist:
        for one in spoils:
            netlist = one(netlist)
        return netlist

    return spoil


@pytest.mark.parametrize(
    "build", BUILDS, ids=lambda build: "-".join((*build.sync, build.release[0], build.gate[0]))
)
def test_every_build_is_sound_in_use_and_with_the_plug_in(build: Build) -> None:
    assert check(build) == ()


SPOILED: list[tuple[str, Netlist, Spoil, str]] = [
    ("a pull-down forgotten", PLAIN, drop("R13A"), "pull-down"),
    ("the same, seen by what the board would do", PLAIN, drop("R13A"), "fires at boot"),
    ("a pull-down too weak", PLAIN, revalue("R14B", "resistance_ohm", 10e3), "pull-down"),
    ("a pull-down to the rail", PLAIN, rewire("R13A", other="3V3"), "pull-down"),
    ("the pull-down of a lamp line forgotten", PLAIN, drop("R81"), "pull-down"),
    ("shells joined by a wire", PLAIN, wire("A_SHELL", "B_SHELL"), "apart"),
    (
        "both shells on the plate",
        PLAIN,
        both(wire("A_SHELL", "TRIPOD_PLATE"), wire("B_SHELL", "TRIPOD_PLATE")),
        "apart",
    ),
    ("one shell on the rig's metal", PLAIN, wire("A_SHELL", "RIG_METAL"), "apart"),
    ("board ground on the rig's metal", PLAIN, wire("GND", "RIG_METAL"), "apart"),
    ("the rig's metal on USB earth", PLAIN, wire("RIG_METAL", "USB_EARTH"), "apart"),
    ("one lead's shield on both bodies", PLAIN, wire("A_SYNC_O", "B_COM"), "apart"),
    ("release common on USB earth", PLAIN, wire("A_COM", "USB_EARTH"), "apart"),
    ("sync outer on the board's ground", PLAIN, wire("B_SYNC_O", "GND"), "apart"),
    (
        "one shared cell for both contacts",
        PLAIN,
        both(drop("B21B"), wire("A_WET", "B_WET"), wire("A_SYNC_O", "B_SYNC_O")),
        "apart",
    ),
    (
        "the contact fed from the board's rail",
        PLAIN,
        both(drop("B21A"), wire("A_WET", "3V3"), wire("A_SYNC_O", "GND")),
        "apart",
    ),
    ("a cell forgotten", PLAIN, drop("B21A"), "floating supply"),
    ("an insulating plate forgotten", PLAIN, drop("E2A"), "insulator"),
    ("a sensor holder forgotten", PLAIN, drop("H41B2"), "insulator"),
    ("a metal enclosure", PLAIN, drop("E1"), "insulator"),
    ("no resistor in the lamp row's clock line", PLAIN, drop("R85"), "wrong net"),
    ("two board pins swapped", PLAIN, swap_board("gp3", "gp5"), "pins"),
    ("a signal without its pin", PLAIN, rewire("U1", gp7="nc_gone"), "pins"),
    (
        "half and full swapped behind the isolators",
        PLAIN,
        both(rewire("K11A", out1="A_FULL"), rewire("K12A", out1="A_HALF")),
        "wrong contact",
    ),
    (
        "the release jacks swapped",
        PLAIN,
        both(rewire("K12A", out1="B_FULL", out2="B_COM"), rewire("K12B", out1="A_FULL", out2="A_COM")),
        "wrong contact",
    ),
    (
        "sync collectors swapped",
        PLAIN,
        both(rewire("U21A", collector="sync_b"), rewire("U21B", collector="sync_a")),
        "wrong input",
    ),
    (
        "two gate sensors swapped",
        PLAIN,
        both(rewire("U41A1", out="gate_a2"), rewire("U41A2", out="gate_a1")),
        "wrong input",
    ),
    ("a release isolator left out", PLAIN, drop("K12B"), "isolator"),
    ("a sync isolator left out", PLAIN, drop("U21A"), "isolator"),
    (
        "a polarised isolator on a release",
        PLAIN,
        lambda n: n.changed(
            part(
                "K11A",
                "optocoupler",
                "",
                "",
                {"anode": "A_HALF_LED", "cathode": "GND", "collector": "A_HALF", "emitter": "A_COM"},
                specs.OPTOCOUPLER,
            )
        ),
        "isolator",
    ),
    ("an isolator bridged", PLAIN, wire("A_HALF", "A_HALF_LED"), "apart"),
    (
        "an isolator LED the wrong way round",
        PLAIN,
        rewire("K11A", anode="GND", cathode="A_HALF_LED"),
        "isolator",
    ),
    ("an isolator without series resistor", PLAIN, revalue("R11A", "resistance_ohm", 1.0), "current"),
    ("a sync LED without series resistor", PLAIN, revalue("R21A", "resistance_ohm", 10.0), "current"),
    ("a collector resistor on 5 V", PLAIN, rewire("R22A", one="VBUS"), "rating"),
    ("a gate pull-up on 5 V", PLAIN, rewire("R45A1", one="VBUS"), "rating"),
    ("a button pull-up forgotten", PLAIN, drop("R621"), "input at rest"),
    ("a collector resistor forgotten", PLAIN, drop("R22B"), "input at rest"),
    ("comparator inputs swapped", PLAIN, rewire("U41A1", plus="LIGHT_A1", minus="THR_A1"), "input at rest"),
    (
        "a photodiode the wrong way round",
        LOADED,
        rewire("D41A1", anode="3V3", cathode="LIGHT_A1"),
        "input at rest",
    ),
    ("a sync LED reversed", PLAIN, rewire("U21A", anode="A_SYNC_C", cathode="A_SYNC_A"), "wrong input"),
    ("a lead that ends nowhere", PLAIN, rewire("J21A", centre="A_NOWHERE"), "dangling"),
    ("an isolator of low voltage", PLAIN, revalue("K11A", "contact_max_v", 20.0), "rating"),
    ("an isolator of poor insulation", PLAIN, revalue("U21B", "isolation_v", 500.0), "rating"),
    ("a weak diode towards a high-voltage terminal", HIGH, revalue("D22A", "reverse_max_v", 75.0), "rating"),
    ("a weak limiter", HIGH, revalue("Q21B", "drain_max_v", 250.0), "rating"),
    ("flyback diode left out", SOLENOID, drop("D51A"), "flyback"),
    (
        "flyback diode the wrong way round",
        SOLENOID,
        rewire("D51A", anode="A_SOL_Z", cathode="A_SOL_D"),
        "flyback",
    ),
    ("a transistor too weak for the clamp", SOLENOID, revalue("Q51B", "drain_max_v", 30.0), "rating"),
    ("coil supply on the board's ground", SOLENOID, wire("A_SOL_N", "GND"), "apart"),
    (
        "one supply for both coils",
        SOLENOID,
        both(drop("G51B"), wire("A_SOL_P", "B_SOL_P"), wire("A_SOL_N", "B_SOL_N")),
        "apart",
    ),
    ("coil's gate resistor missing", SOLENOID, drop("R52A"), "floating gate"),
    ("a coil of far too few turns", SOLENOID, revalue("L51A", "coil_ohm", 400.0), "solenoid"),
    ("no hysteresis", PLAIN, drop("R44A1"), "hysteresis"),
    ("hysteresis that does not fade", PLAIN, rewire("R44A1", other="gate_a1"), "hysteresis"),
    ("an isolator straight to ground", PLAIN, rewire("K11B", cathode="GND"), "interlock"),
    ("the isolators' return on ground", PLAIN, wire("LED_RETURN", "GND"), "interlock"),
    ("an interlock of one pole", PLAIN, rewire("S62", return1="nc_return"), "wrong contact"),
    ("no suppressor at a release", PLAIN, drop("D12A"), "guard"),
    (
        "a suppressor that conducts at a terminal's voltage",
        PLAIN,
        revalue("D11B", "standoff_v", 12.0),
        "rating",
    ),
    ("a suppressor that clamps too late", PLAIN, revalue("D11B", "clamp_v", 75.0), "rating"),
    ("a coil that nothing lets go", SOLENOID, rewire("R52A", other="A_FULL"), "held"),
    (
        "a coil with its gate on the contact",
        SOLENOID,
        both(rewire("Q51A", gate="A_FULL"), rewire("D53A", cathode="A_FULL"), rewire("R52A", one="A_FULL")),
        "held",
    ),
    ("a coil without its own switch", SOLENOID, both(drop("S51A"), wire("A_SOL_P", "A_SOL_S")), "coil"),
    ("the same, seen by what it does", SOLENOID, both(drop("S51A"), wire("A_SOL_P", "A_SOL_S")), "held"),
    ("a coil without its cut-out", SOLENOID, both(drop("F52B"), wire("B_SOL_F", "B_SOL_C")), "coil"),
    ("a coil that pulls only once", SOLENOID, drop("R53A"), "guard"),
    ("no guard on a sync LED", PLAIN, drop("D21B"), "guard"),
    ("a supply pin on the wrong rail", PLAIN, rewire("U41B2", vcc="VBUS"), "wrong net"),
    ("a decoupling capacitor forgotten", PLAIN, drop("C83"), "decoupling"),
    ("a lamp row the wrong way round", PLAIN, rewire("LB82", anodes="GND", cathode="LAMP_A2[8]"), "light"),
    ("a status light reversed", PLAIN, rewire("D70", anode="LED70_K", cathode="LED70_A"), "light"),
    ("no socket for the sync lead", PLAIN, drop("J21B"), "connector"),
    ("a loopback plug that forgets one output", PLUGGED, rewire("P91", b_half="nc_b_half"), "loopback"),
    ("a loopback plug that forgets one input", PLUGGED, rewire("P91", a_centre="nc_a_centre"), "loopback"),
    ("a loopback plug on the board's ground", PLUGGED, wire("A_COM", "GND"), "apart"),
    ("an amplifier without its feedback capacitor", AMPLIFIED, drop("C43A1"), "feedback"),
    ("an amplifier without its gain resistor", AMPLIFIED, drop("R41B2"), "feedback"),
    ("a gate lamp resistor of a quarter watt", PLAIN, revalue("R45", "power_w", 0.25), "power"),
    ("no board at all", PLAIN, drop("U1"), "pins"),
    ("a wire on a pin the table leaves free", PLAIN, rewire("U1", gp26="GND"), "pins"),
    ("a signal whose pin is not there", PLAIN, unpin("gp7"), "pins"),
    ("a gate lamp the wrong way round", PLAIN, rewire("D45", anode="LAMP_D", cathode="LAMP_A"), "light"),
    (
        "an isolator too weak for the body's current",
        PLAIN,
        revalue("K11A", "contact_max_a", 0.001),
        "current",
    ),
    ("a lamp register fed from the wrong one", PLAIN, rewire("U83", data="LAMP_NEXT1"), "wrong net"),
    ("two resistor networks on one register", PLAIN, rewire("RN82", one="LAMP_Q1[8]"), "wrong net"),
    ("a coil left out", SOLENOID, drop("L51A"), "connector"),
    ("no capacitor at the interlock's lead", PLAIN, drop("C621"), "decoupling"),
    ("no capacitor at a threshold", PLAIN, drop("C42A1"), "decoupling"),
    ("no reservoir on the rail", PLAIN, drop("C1"), "decoupling"),
    ("no reservoir at a coil", SOLENOID, drop("C51B"), "decoupling"),
    ("no Zener diode at a coil's transistor", SOLENOID, drop("D53A"), "guard"),
    ("loopback plug in with bodies on", PLAIN, lambda n: n.with_part(loopback().parts[0]), "plug"),
]


@pytest.mark.parametrize(("what", "sound", "spoil", "rule"), SPOILED, ids=[one[0] for one in SPOILED])
def test_a_spoiled_netlist_is_caught(what: str, sound: Netlist, spoil: Spoil, rule: str) -> None:
    assert rule in {one.rule for one in faults(spoil(sound))}, what


CHECKERS = (check_module, check_behaviour, check_presence)


def fault_calls(module: ModuleType) -> list[ast.Call]:
    """Every place of a module that makes a fault."""
    return [
        node
        for node in ast.walk(ast.parse(inspect.getsource(module)))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Fault"
    ]


def test_every_rule_has_a_spoiled_netlist_that_breaks_it() -> None:
    rules = {ast.literal_eval(call.args[0]) for module in CHECKERS for call in fault_calls(module)}
    # A netlist that cannot be solved is no rule; `operate` has its own tests.
    assert rules - {"solve"} == {rule for *_, rule in SPOILED}


@pytest.mark.soak
def test_every_sentence_of_the_check_is_said_of_some_spoiled_netlist(monkeypatch: pytest.MonkeyPatch) -> None:
    said: set[tuple[str, int]] = set()

    def noted(rule: str, where: str, say: str) -> Fault:
        caller = inspect.currentframe().f_back  # type: ignore[union-attr]
        assert caller is not None
        said.add((caller.f_globals["__name__"], caller.f_lineno))
        return Fault(rule, where, say)

    for module in CHECKERS:
        monkeypatch.setattr(module, "Fault", noted)
    for _, sound, spoil, _ in SPOILED:
        faults(spoil(sound))
    unsaid = [
        f"{module.__name__}:{call.lineno}"
        for module in CHECKERS
        for call in fault_calls(module)
        if not any(
            name == module.__name__ and call.lineno <= line <= (call.end_lineno or 0) for name, line in said
        )
    ]
    assert unsaid == []


def test_a_fault_names_the_way_two_bodies_are_joined() -> None:
    found = [one for one in faults(wire("A_SHELL", "B_SHELL")(PLAIN)) if one.rule == "apart"]
    assert any("body A and body B are joined" in one.say and "W99" in one.say for one in found)


EVERYTHING = Build(("high-voltage", "wetted"), ("solenoid", "contact"), ("transimpedance", "load"))


@pytest.mark.parametrize("build", [Build(), pytest.param(EVERYTHING, marks=pytest.mark.soak)], ids=str)
def test_no_part_at_all_can_be_left_out_unnoticed(build: Build) -> None:
    sound = in_use(build)
    for one in sound.parts:
        spoiled = sound.without(one.ref)
        assert structural_faults(spoiled) or faults(spoiled), f"{one.ref} could be left out unnoticed"


# A switch is a switch both ways round, and so is what carries either polarity.
SYMMETRICAL = (
    "suppressor",
    "cutout",
    "resistor",
    "capacitor",
    "switch",
    "button",
    "insulator",
    "fuse",
    "resistor_array",
    "metal",
)
EITHER_WAY = {("photorelay", "out1", "out2")}


@pytest.mark.soak
def test_no_two_pins_of_a_part_can_be_swapped_unnoticed() -> None:
    sound = in_use(EVERYTHING)
    for part_ in sound.parts:
        if part_.kind in (*SYMMETRICAL, "board"):
            continue
        for one, other in combinations(part_.pins, 2):
            nets = {part_.pins[one], part_.pins[other]}
            if len(nets) == 1 or (part_.kind, one, other) in EITHER_WAY:
                continue
            if all(net.startswith(NOT_CONNECTED) for net in nets):
                continue
            spoiled = sound.changed(part_.rewired(one, part_.pins[other]).rewired(other, part_.pins[one]))
            assert structural_faults(spoiled) or faults(spoiled), (
                f"{part_.ref} {one} and {other} swapped unnoticed"
            )


def test_any_two_swapped_board_pins_are_caught() -> None:
    pins = [f"gp{row[1]}" for row in PINS]
    for one, other in pairwise(pins):
        assert any(fault.rule == "pins" for fault in faults(swap_board(one, other)(PLAIN)))


def test_every_pin_of_the_table_is_used_once_and_only_once() -> None:
    board = PLAIN.part("U1")
    used = {pin: net for pin, net in board.pins.items() if pin.startswith("gp")}
    assert used == {f"gp{row[1]}": row[0] for row in PINS}


def test_bodies_rig_and_board_are_four_circuits_that_never_meet() -> None:
    domain = domains(PLAIN)
    apart = [domain[net] for net in ("A_SHELL", "B_SHELL", "RIG_METAL", "USB_EARTH")]
    assert len(set(apart)) == 4
    assert domain["GND"] == domain["USB_EARTH"]
    assert path_between(PLAIN, "A_SHELL", "GND") == ()
    assert path_between(PLAIN, "VBUS", "USB_EARTH")[1] == "X1"


APART = {"body A": "A_SHELL", "body B": "B_SHELL", "the rig": "RIG_METAL", "the board": "USB_EARTH"}


@pytest.mark.parametrize("build", [Build(), EVERYTHING], ids=str)
@pytest.mark.parametrize(("one", "other"), list(combinations(APART, 2)))
def test_a_wire_from_anywhere_in_one_circuit_to_anywhere_in_another_is_caught(
    build: Build, one: str, other: str
) -> None:
    """Not between the named terminals alone: forty wires drawn at random, inside nets among them."""
    sound, rng = in_use(build), np.random.default_rng(29)
    domain = domains(sound)
    ends = [[net for net in domain if domain[net] == domain[APART[name]]] for name in (one, other)]
    for _ in range(40):
        here, there = (str(rng.choice(nets)) for nets in ends)
        assert "apart" in {fault.rule for fault in structural_faults(wire(here, there)(sound))}, (here, there)


@pytest.mark.parametrize("build", [Build(), EVERYTHING], ids=str)
def test_an_isolator_that_isolates_nothing_is_caught_each_of_them(build: Build) -> None:
    sound = in_use(build)
    for part_ in sound.of_kind("insulator", "photorelay", "optocoupler"):
        near, far = part_.sides()
        bridged = wire(part_.pins[near[0]], part_.pins[far[0]])(sound)
        assert "apart" in {fault.rule for fault in structural_faults(bridged)}, part_.ref


def test_no_reference_is_used_twice() -> None:
    for build in BUILDS:
        for netlist in (in_use(build), zero_check(build)):
            refs = [one.ref for one in netlist.parts]
            assert len(refs) == len(set(refs))


def test_the_digest_follows_the_wiring() -> None:
    assert digest(Build()) == digest(Build())
    assert len({digest(build) for build in BUILDS}) == len(BUILDS)


def test_an_unknown_circuit_is_refused_with_the_choices() -> None:
    with pytest.raises(
        BadInput, match=r"sync circuit of body B is 'laser'; it can be cell or wetted or high-voltage"
    ):
        Build(sync=("cell", "laser"))
