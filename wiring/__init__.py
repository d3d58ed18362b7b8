"""The box's wiring as data: circuits, electrical checks, computed values, drawings, parts and cautions.

One description of the circuits (`circuits/`, joined by `netlist`) feeds the electrical rule check (`check/`), the
computed values (`figures/`), the drawings (`draw/`) and the parts list, so that none can say something else.
"""
