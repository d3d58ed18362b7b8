"""Circuits as data: what a part is, the ratings of the kinds, and the sheets of box, bodies and sensors."""
