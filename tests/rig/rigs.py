"""Rigs for the tests: the template with keys replaced."""

from __future__ import annotations

import tomllib
from copy import deepcopy
from typing import Any

import tomlkit

from coincide.rig.file import rig_from_tables
from coincide.rig.model import Rig
from coincide.rig.new import TEMPLATE

REMOVE = object()


def tables_with(changes: dict[str, Any]) -> dict[str, Any]:
    """The template's tables with 'bodies.a.name' -> value set, or removed where the value is REMOVE."""
    tables = tomllib.loads(TEMPLATE)
    for path, value in changes.items():
        *above, last = path.split(".")
        table = tables
        for key in above:
            table = table.setdefault(key, {})
        if value is REMOVE:
            table.pop(last, None)
        else:
            table[last] = deepcopy(value)
    return tables


def text_with(changes: dict[str, Any]) -> str:
    """The same as TOML."""
    return tomlkit.dumps(tables_with(changes))


def rig_with(changes: dict[str, Any] | None = None) -> Rig:
    """The rig of the template, changed."""
    return rig_from_tables(tables_with(changes or {}), "rig.toml")


LEAF = {
    "kind": "leaf",
    "exposure": "1/125",
    "marked": ["1/500", "1/250", "1/125", "1/60"],
    "opening": "2 ms",
    "closing": "2.4 ms",
}
