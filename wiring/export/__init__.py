"""The circuits in open formats: a netlist for board programs, decks for SPICE, tables of parts and nets."""
