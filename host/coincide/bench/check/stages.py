"""The stages of the bench test, in their order: the zero check while the bodies are off anyway."""

STAGES = ("controls", "lights", "outputs", "zero", "sync", "gate", "lamps")
