"""Infrared light and a lens made for visible light: focus, the aperture that hides the shift, scale, diffraction.

Thin lens; sources: the lens equation; Airy's disc, 2.44 lambda N across (Hecht, *Optics*, ch. 10.2, memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from coincide.errors import BadInput
from coincide.planning.trace import Link
from coincide.rig.calibration import BODY_LETTERS
from coincide.rig.model import Body, Rig
from coincide.rig.optics.stops import THIRD_STOP_MARKS
from coincide.rig.optics.thin_lens import from_focusing_scale_m, magnification
from coincide.rig.optics.tolerance import on_film_tolerance_m

# Lenses corrected for visible light focus infrared a two-hundredth to a four-hundredth of f farther out; rough (common
# practice, no source). A lens with an infrared mark shows its own.
USUAL_SHIFT_PER_FOCAL_LENGTH = 1 / 250
INFRARED_M = 800e-9
GREEN_M = 550e-9


@dataclass(frozen=True, slots=True)
class InfraredFocus:
    """One body whose film sees infrared. All on film unless said otherwise.

    shift_m: how much farther out the lens must stand at the distance it is focused at; shift_known: the rig says so.
    blur_m: the disc that leaves at the aperture set, not refocused. hides_f: the aperture at which it is as large as
    allowed_m, hides_mark: the mark to set, None beyond the lens's range. focused_m: what the focusing scale says now,
    None at infinity; instead_m: what it should say, None where that is past what the lens can. grows: by how much the
    refocused picture is larger; grows_m: what that is in the corner. airy_m, airy_green_m: diffraction's disc at
    800 nm and 550 nm; diffraction_f: the aperture at which it is as large as allowed_m, diffraction_mark: the last mark
    before it.
    """

    body: int
    name: str
    aperture: float
    allowed_m: float
    shift_m: float
    shift_known: bool
    blur_m: float
    hides_f: float
    hides_mark: float | None
    focused_m: float | None
    instead_m: float
    grows: float
    grows_m: float
    airy_m: float
    airy_green_m: float
    diffraction_f: float
    diffraction_mark: float | None

    @property
    def hidden(self) -> bool:
        """The aperture that is set hides the shift."""
        return self.blur_m <= self.allowed_m

    @property
    def chain(self) -> tuple[Link, ...]:
        return tuple(_chain(self))


def infrared_bodies(rig: Rig) -> tuple[int, ...]:
    """The bodies whose film says that it sees infrared. Raises BadInput where there is none."""
    found = tuple(
        index
        for index, body in enumerate(rig.both)
        if body.film is not None
        and body.film.band.casefold().replace("-", " ").split()[:1] in (["infrared"], ["ir"])
    )
    if not found:
        raise BadInput(
            "No body's film is for infrared: set bodies.a.film.band or bodies.b.film.band to 'infrared' (with "
            "[splitter.bands.infrared], where there is a splitter)."
        )
    return found


def at_aperture(rig: Rig, index: int, aperture: float) -> Rig:
    """The rig with another aperture on one body. Raises BadInput beyond the lens's range."""
    letter, body = BODY_LETTERS[index], rig.both[index]
    lens = body.lens
    if not lens.widest <= aperture <= lens.smallest:
        raise BadInput(
            f"f/{aperture:g} is outside the range of body {letter.upper()}'s lens, f/{lens.widest:g} to "
            f"f/{lens.smallest:g} (bodies.{letter}.lens)."
        )
    changed = body.model_copy(update={"lens": lens.model_copy(update={"aperture": aperture})})
    return rig.model_copy(update={"bodies": rig.bodies.model_copy(update={letter: changed})})


def infrared_focus(rig: Rig, index: int) -> InfraredFocus:
    """The figures of one body (0 = A, 1 = B), as it is set."""
    body = rig.both[index]
    lens, f_m = body.lens, body.lens.focal_length_m
    stop = lens.aperture
    allowed_m = on_film_tolerance_m(rig, index)
    m = _magnification(body)
    at_infinity_m = lens.infrared_shift_m
    known = at_infinity_m is not None
    if at_infinity_m is None:
        at_infinity_m = USUAL_SHIFT_PER_FOCAL_LENGTH * f_m
    shift_m = at_infinity_m * (1 + m) ** 2  # b = f D / (D - f), differentiated by f
    image_m = f_m * (1 + m)
    hides_f = shift_m / (allowed_m * (1 + m))
    diffraction_f = allowed_m / (2.44 * INFRARED_M * (1 + m))
    grows = shift_m / image_m
    return InfraredFocus(
        body=index,
        name=body.name,
        aperture=stop,
        allowed_m=allowed_m,
        shift_m=shift_m,
        shift_known=known,
        blur_m=shift_m / (stop * (1 + m)),
        hides_f=hides_f,
        hides_mark=_mark_from(max(hides_f, lens.widest), lens.smallest),
        focused_m=lens.focused_m,
        instead_m=_scale_instead_m(f_m, image_m + shift_m),
        grows=grows,
        grows_m=grows * body.frame.diagonal_m / 2,
        airy_m=airy_m(INFRARED_M, stop, m),
        airy_green_m=airy_m(GREEN_M, stop, m),
        diffraction_f=diffraction_f,
        diffraction_mark=_mark_to(min(diffraction_f, lens.smallest), lens.widest),
    )


def airy_m(wavelength_m: float, f_number: float, m: float = 0.0) -> float:
    """Across the first dark ring, 2.44 lambda N (1 + m)."""
    return 2.44 * wavelength_m * f_number * (1 + m)


def _magnification(body: Body) -> float:
    if body.lens.focused_m is None:
        return 0.0
    f_m = body.lens.focal_length_m
    return magnification(f_m, from_focusing_scale_m(body.lens.focused_m, f_m))


def _scale_instead_m(f_m: float, image_m: float) -> float:
    """What the focusing scale says when the lens stands that far from the film; infinite at f."""
    beyond_m = image_m - f_m
    return math.inf if beyond_m <= 0 else f_m * image_m / beyond_m + image_m


def _mark_from(least: float, most: float) -> float | None:
    """The widest mark that is no wider than `least`, in the lens's range. Marks are rounded: a hundredth of leave."""
    return next((mark for mark in THIRD_STOP_MARKS if least * 0.99 <= mark <= most * 1.001), None)


def _mark_to(most: float, least: float) -> float | None:
    fitting = [mark for mark in THIRD_STOP_MARKS if least * 0.999 <= mark <= most * 1.01]
    return fitting[-1] if fitting else None


def _chain(found: InfraredFocus) -> Iterator[Link]:
    letter = BODY_LETTERS[found.body]
    shift = (
        f"rig: bodies.{letter}.lens.infrared_shift"
        if found.shift_known
        else "rough: a 250th of the focal length; common practice, no source"
    )
    yield Link("focus shift", found.shift_m * 1e3, "mm", shift)
    yield Link("allowed on film", found.allowed_m * 1e6, "um", "rig: tolerance")
    yield Link("blur at the aperture set", found.blur_m * 1e6, "um", "computed: shift / (N (1 + m))")
    yield Link("aperture that hides it", found.hides_f, "", "computed: shift / (allowed (1 + m))")
    yield Link("picture grows by", found.grows * 1e3, "per mille", "computed: shift / b")
    yield Link("in the corner", found.grows_m * 1e6, "um", "computed: that times half the diagonal")
    yield Link("diffraction at 800 nm", found.airy_m * 1e6, "um", "computed: 2.44 lambda N (1 + m)")
    yield Link("diffraction at 550 nm", found.airy_green_m * 1e6, "um", "computed: 2.44 lambda N (1 + m)")
