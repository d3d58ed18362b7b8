"""The files of `coincide wiring export`."""

from __future__ import annotations

from pathlib import Path

from coincide.durable import make_folder, write_outputs
from coincide_wiring.export.netlists import as_kicad, nets_csv, parts_csv
from coincide_wiring.export.spice import deck
from coincide_wiring.netlist import Build, in_use, sheets


def write(build: Build, folder: Path) -> tuple[Path, ...]:
    """Netlist, tables and decks of a build into a folder. Raises BadInput when the folder cannot be written, or
    holds another file of one of these names."""
    netlist = in_use(build)
    texts = {
        "coincide.net": as_kicad(netlist),
        "parts.csv": parts_csv(netlist),
        "nets.csv": nets_csv(netlist),
    }
    texts |= {f"{sheet.name}.cir": deck(sheet.title, sheet.parts) for sheet in sheets(build)}
    make_folder(folder)
    return tuple(write_outputs({folder / name: text.encode() for name, text in texts.items()}))
