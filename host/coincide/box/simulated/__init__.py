"""The simulated box: the firmware itself, in virtual time, against physical models of two bodies."""
