"""The box's wiring as data: circuits, electrical checks, computed values, drawings, parts and cautions.

One description of the circuits (`circuits_box`, `circuits_body`, joined by `netlist`) feeds the electrical
rule check, the drawings, the parts list and the computed values, so that none can say something else.
"""
