"""What a circuit is made of: parts with generic values, pins, nets; sheets; the whole netlist.

Values are plain numbers in SI with the unit at the end of their name (`resistance_ohm`). Net names are
strings; a net that begins with `nc_` is a pin deliberately left unconnected.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

NOT_CONNECTED = "nc_"

# Pins of a kind fall into sides; only pins of one side conduct to one another. A kind not named here is
# one conductor as far as safety goes: any part may fail short, except an isolator or an insulator.
SIDES: Mapping[str, tuple[tuple[str, ...], ...]] = MappingProxyType(
    {
        "photorelay": (("anode", "cathode"), ("out1", "out2")),
        "optocoupler": (("anode", "cathode"), ("collector", "emitter")),
        "insulator": (("one",), ("other",)),
        "solenoid": (("coil1", "coil2"), ("frame",)),
    }
)


@dataclass(frozen=True, slots=True)
class Part:
    """One component: `pins` maps each pin to its net, `values` holds ratings and nominal values in SI.

    `sort` is the line of the parts list it belongs to (a generic description), `why` says what the part
    does and why it has this value.
    """

    ref: str
    kind: str
    sort: str
    why: str
    pins: Mapping[str, str]
    values: Mapping[str, float]

    def value(self, name: str) -> float:
        """A value by name. Raises KeyError naming the part where it has none such."""
        try:
            return self.values[name]
        except KeyError:
            raise KeyError(f"{self.ref} ({self.kind}) has no value '{name}'") from None

    def sides(self) -> tuple[tuple[str, ...], ...]:
        """Groups of pins that may conduct to one another."""
        return SIDES.get(self.kind, (tuple(self.pins),))

    def rewired(self, pin: str, net: str) -> Part:
        """The same part with one pin on another net."""
        return replace(self, pins=MappingProxyType({**self.pins, pin: net}))

    def revalued(self, name: str, value: float) -> Part:
        """The same part with one value changed."""
        return replace(self, values=MappingProxyType({**self.values, name: value}))


def part(
    ref: str,
    kind: str,
    sort: str,
    why: str,
    pins: Mapping[str, str],
    values: Mapping[str, float] | None = None,
) -> Part:
    """A part with its mappings frozen."""
    return Part(ref, kind, sort, why, MappingProxyType(dict(pins)), MappingProxyType(dict(values or {})))


@dataclass(frozen=True, slots=True)
class Sheet:
    """One circuit as it is drawn: a name for files and commands, a title, and its parts."""

    name: str
    title: str
    parts: tuple[Part, ...]

    def part(self, ref: str) -> Part:
        """A part by reference. Raises KeyError."""
        for one in self.parts:
            if one.ref == ref:
                return one
        raise KeyError(ref)

    def nets(self) -> dict[str, tuple[tuple[str, str], ...]]:
        """Net name -> ((ref, pin), ...) in order of appearance."""
        return nets_of(self.parts)


@dataclass(frozen=True, slots=True)
class Netlist:
    """Every part of a build, whichever sheet it came from."""

    parts: tuple[Part, ...]

    def part(self, ref: str) -> Part:
        """A part by reference. Raises KeyError."""
        for one in self.parts:
            if one.ref == ref:
                return one
        raise KeyError(ref)

    def of_kind(self, *kinds: str) -> tuple[Part, ...]:
        """Parts of the given kinds, in order."""
        return tuple(one for one in self.parts if one.kind in kinds)

    def nets(self) -> dict[str, tuple[tuple[str, str], ...]]:
        """Net name -> ((ref, pin), ...) in order of appearance."""
        return nets_of(self.parts)

    def without(self, ref: str) -> Netlist:
        """The netlist with a part taken out. Raises KeyError when it has no such part."""
        self.part(ref)
        return Netlist(tuple(one for one in self.parts if one.ref != ref))

    def changed(self, new: Part) -> Netlist:
        """The netlist with the part of the same reference exchanged. Raises KeyError."""
        self.part(new.ref)
        return Netlist(tuple(new if one.ref == new.ref else one for one in self.parts))

    def with_part(self, new: Part) -> Netlist:
        """The netlist with one part more."""
        return Netlist((*self.parts, new))


def nets_of(parts: tuple[Part, ...]) -> dict[str, tuple[tuple[str, str], ...]]:
    """Net name -> ((ref, pin), ...) in order of appearance."""
    found: dict[str, list[tuple[str, str]]] = {}
    for one in parts:
        for pin, net in one.pins.items():
            found.setdefault(net, []).append((one.ref, pin))
    return {net: tuple(pins) for net, pins in found.items()}
