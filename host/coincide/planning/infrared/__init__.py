"""The body with infrared film: focus, aperture, scale, and a bracket that keeps the presets."""
