"""A day without a laptop: the photographer's finger on the box's own button, frame after frame."""

from __future__ import annotations

from coincide.box.simulated.port import SimulatedPort

# A finger: half, then full, then away; each after so long.
PRESS = (
    ("button_half", True, 0.0),
    ("button_full", True, 0.5),
    ("button_full", False, 0.4),
    ("button_half", False, 0.1),
)
SETTLED_S = 2.0
AWAY_S = 60.0


def spend_the_day(port: SimulatedPort) -> None:
    """Take the box from the cable, press its button as often as its world says, and bring it home.

    What is logged is logged by the firmware, with the preset that is in the box.
    """
    hand = port.world.spec.hand
    port.machine.link.unplug()
    port.wait(AWAY_S)
    for _ in range(hand.button_presses):
        press_button(port)
        port.wait(hand.button_interval_s)
    port.machine.link.plug()


def press_button(port: SimulatedPort) -> None:
    """One press, as long as a finger takes."""
    for button, down, after_s in PRESS:
        port.wait(after_s)
        port.world.set_input(button, down)
    port.wait(SETTLED_S)
