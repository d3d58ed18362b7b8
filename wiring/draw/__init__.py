"""The schematics: drawn from the netlist and held to it. `svg/` keeps the drawings that the pages show."""
