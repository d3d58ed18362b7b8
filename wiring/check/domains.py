"""Galvanic domains: which nets a fault or a bare wire could join.

Every part is taken as a conductor between all its pins except across an isolator or an insulator: parts
fail short, and what must never meet (two bodies, a body and the earthed board) has to stay apart even then.
"""

from __future__ import annotations

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
