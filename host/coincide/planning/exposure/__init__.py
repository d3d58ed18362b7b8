"""One meter reading, two bodies: what to set on each, what it costs, and for which light a calibrated pair is right."""
