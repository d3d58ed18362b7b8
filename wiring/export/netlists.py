"""Parts and nets for other programs: the s-expression netlist that KiCad reads, and two tables as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable

from coincide_wiring.circuits.model import NOT_CONNECTED, Netlist, Part
from coincide_wiring.circuits.packages import package_of


def as_kicad(netlist: Netlist) -> str:
    """The netlist as KiCad's s-expressions (its export format, version E): components, then nets with their pins."""
    lines = [
        '(export (version "E")',
        '  (design (source "coincide wiring") (tool "coincide"))',
        "  (components",
    ]
    for one in netlist.parts:
        lines.append(f"    (comp (ref {_quoted(one.ref)}) (value {_quoted(one.sort)})")
        for name, value in one.values.items():
            lines.append(f"      (property (name {_quoted(name)}) (value {_quoted(f'{value:g}')}))")
        lines.append("    )")
    lines += ["  )", "  (nets"]
    for code, (net, pins) in enumerate(connected(netlist).items(), start=1):
        lines.append(f"    (net (code {_quoted(str(code))}) (name {_quoted(net)})")
        lines += [
            f"      (node (ref {_quoted(ref)}) (pin {_quoted(pad)}) (pinfunction {_quoted(pin)}))"
            for ref, pin in pins
            for pad in _pads(netlist.part(ref), pin)
        ]
        lines.append("    )")
    return "\n".join([*lines, "  )", ")", ""])


def parts_csv(netlist: Netlist) -> str:
    """One line a part: reference, kind, what to buy, its case, values in SI, what it is for."""
    rows = [("reference", "kind", "part", "package", "values", "why")]
    for one in netlist.parts:
        values = " ".join(f"{name}={value:g}" for name, value in one.values.items())
        rows.append((one.ref, one.kind, one.sort, package_of(one).name, values, one.why))
    return _csv(rows)


def nets_csv(netlist: Netlist) -> str:
    """One line a pin of the circuit: net, reference, pin."""
    pins = ((net, ref, pin) for net, found in connected(netlist).items() for ref, pin in found)
    return _csv([("net", "reference", "pin"), *pins])


def _pads(part: Part, pin: str) -> tuple[str, ...]:
    """The numbered terminals that are this pin; the pin's own name where it is a bundle of lines."""
    return tuple(pad for pad, name in package_of(part).pads.items() if name == pin) or (pin,)


def connected(netlist: Netlist) -> dict[str, tuple[tuple[str, str], ...]]:
    """Nets without the pins that are left open on purpose."""
    return {net: pins for net, pins in netlist.nets().items() if not net.startswith(NOT_CONNECTED)}


def _csv(rows: Iterable[tuple[str, ...]]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue()


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
