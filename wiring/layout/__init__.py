"""Boards to solder: parts and bare wires on a pad board, made from the netlist, judged by a checker of its own,
printed."""
