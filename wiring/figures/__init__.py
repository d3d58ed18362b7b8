"""Computed values of the circuits, swept over every corner, and what they add to a measured time."""
