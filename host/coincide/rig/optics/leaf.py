"""What an aperture does to the time for which blades in the lens expose."""

from __future__ import annotations

from coincide.rig.model import Body
from coincide.rig.parts import Leaf, Lens
from coincide.units import ShutterTime


def area_in_use(lens: Lens, aperture: float | None = None) -> float:
    """The area of an aperture over that of the widest, 0 to 1; of the one that is set where none is given."""
    return float((lens.widest / (lens.aperture if aperture is None else aperture)) ** 2)


def exposure_grown_s(opening_s: float, closing_s: float, area: float) -> float:
    """What stopping down adds to the effective exposure: half of both ramps that the aperture cuts off.

    Blades taken to uncover the area evenly in time; the mark is taken to hold at full aperture.
    """
    return 0.5 * (opening_s + closing_s) * (1.0 - area)


def effective_exposure_s(body: Body, time: ShutterTime | None = None, aperture: float | None = None) -> float:
    """How long a mark exposes the film, as if with all of the aperture's light: longer than marked for blades in the
    lens that are stopped down, as marked for every other shutter. Time and aperture as set where none is given."""
    shutter = body.shutter
    marked_s = (shutter.exposure if time is None else time).nominal_s
    if not isinstance(shutter, Leaf):
        return marked_s
    return marked_s + exposure_grown_s(shutter.opening_s, shutter.closing_s, area_in_use(body.lens, aperture))
