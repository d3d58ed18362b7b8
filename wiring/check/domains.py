"""Galvanic domains: which nets a fault or a bare wire could join.

Every part is taken as a conductor between all its pins except across an isolator or an insulator: parts
fail short, and what must never meet (two bodies, a body and the earthed board) has to stay apart even then.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from coincide_wiring.circuits.model import Netlist


def domains(netlist: Netlist) -> dict[str, int]:
    """Net name -> number of its domain; nets with the same number can conduct to one another."""
    parent: dict[str, str] = {net: net for net in netlist.nets()}

    def root(net: str) -> str:
        while parent[net] != net:
            parent[net] = parent[parent[net]]
            net = parent[net]
        return net

    for one in netlist.parts:
        for side in one.sides():
            nets = [one.pins[pin] for pin in side if pin in one.pins]
            for net in nets[1:]:
                parent[root(net)] = root(nets[0])
    numbers: dict[str, int] = {}
    return {net: numbers.setdefault(root(net), len(numbers)) for net in parent}


def path_between(netlist: Netlist, start: str, goal: str) -> tuple[str, ...]:
    """Shortest chain net, part, net, ... that conducts from one net to another; () when there is none."""
    neighbours: dict[str, list[tuple[str, str]]] = {}
    for one in netlist.parts:
        for side in one.sides():
            nets = [one.pins[pin] for pin in side if pin in one.pins]
            for net in nets:
                neighbours.setdefault(net, []).extend((one.ref, other) for other in nets if other != net)
    came: dict[str, tuple[str, str]] = {start: ("", "")}
    frontier = [start]
    while frontier and goal not in came:
        following: list[str] = []
        for net in frontier:
            for ref, other in neighbours.get(net, ()):
                if other not in came:
                    came[other] = (net, ref)
                    following.append(other)
        frontier = following
    if goal not in came:
        return ()
    chain = [goal]
    while chain[-1] != start:
        net, ref = came[chain[-1]]
        chain += [ref, net]
    return tuple(reversed(chain))


@dataclass(frozen=True, slots=True)
class Join:
    """Two things that conduct to each other. names: of both; nets: one of each, joined; say: by way of what."""

    names: tuple[str, str]
    nets: tuple[str, str]
    say: str


def joins(netlist: Netlist, things: Sequence[tuple[Sequence[str], str]]) -> list[Join]:
    """Which of `things`, each (its nets, its name), conduct to one another; a net that is not there is passed over."""
    domain, found = domains(netlist), []
    for (nets, name), (others, other_name) in combinations(things, 2):
        joined = [
            (one, other)
            for one in nets
            for other in others
            if one in domain and other in domain and domain[one] == domain[other]
        ]
        if joined:
            way = " - ".join(path_between(netlist, *joined[0]))
            found.append(
                Join((name, other_name), joined[0], f"{name} and {other_name} are joined: {way}. Open it.")
            )
    return found
