"""Switch contacts as they are: they bounce, flick and open again."""

from __future__ import annotations

from random import Random

from coincide.box.simulated.bodies.shutters import Exposure
from coincide.box.simulated.spec import ContactSpec

Change = tuple[float, int]
"""Seconds and the level from then on."""


def sync_changes(contact: ContactSpec, exposure: Exposure, exposure_s: float, random: Random) -> list[Change]:
    """Changes of the sync contact in one exposure, seconds from the shutter's start; without flicks."""
    if not contact.fitted or exposure.x_s is None or exposure_s < contact.x_exposure_s:
        return []
    closes = exposure.x_s + contact.placement_s
    opens = max(exposure.end_s, closes) + contact.opens_after_s
    return [*bouncing(closes, opens, contact, random), (opens, 0)]


def bouncing(closes_s: float, opens_s: float, contact: ContactSpec, random: Random) -> list[Change]:
    """A closing and its bounces: the contact opens and closes again at random instants within the bounce time,
    ends closed, and is done before it is to open."""
    changes: list[Change] = [(closes_s, 1)]
    again = random.randint(1, contact.bounces) if contact.bounces else 0
    least, most = contact.bounce_s
    lasts = min(random.uniform(least, most), 0.8 * (opens_s - closes_s))
    if not again or lasts <= 0:
        return changes
    instants = sorted(random.uniform(0.05, 1.0) * lasts for _ in range(2 * again - 1))
    instants.append(lasts)
    changes += [(closes_s + at, index % 2) for index, at in enumerate(instants)]
    return changes
