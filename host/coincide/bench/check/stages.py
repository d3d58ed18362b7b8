"""The stages of the bench test, in their order."""

STAGES = ("controls", "lights", "outputs", "sync", "gate", "lamps", "zero")
