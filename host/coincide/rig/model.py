"""The rig as its TOML file describes it: two bodies, what joins them, what is asked of them. Frozen."""

from __future__ import annotations

import math
import unicodedata
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, model_validator

from coincide.errors import BadInput
from coincide.rig.fields import (
    ClosureTime,
    Distance,
    IntervalTime,
    LeadTime,
    OnFilm,
    PrintSide,
    ScanPitch,
    Speed,
    ToleranceTime,
    ViewingDistance,
    WindowTime,
)
from coincide.rig.film import Film
from coincide.rig.parts import (
    Edges,
    Electronic,
    Fraction,
    Frame,
    Leaf,
    Lens,
    Mount,
    Part,
    Positive,
    Sensors,
    Shutter,
)
from coincide.rig.plate import Plate
from coincide.session.rules import EdgeRules
from coincide.units import quantity

FORMAT = "coincide-rig"
VERSION = 1
WAYS_RAD = {"across": 0.0, "towards": math.pi / 2}
HELD = 0.5  # of the time the frame is surely open: a contact shut for less than that was no X contact
SURE_LIGHT = 0.4  # of the marked exposure: light for so long outweighs shorter light before it
LEAST_LIGHT = 0.1  # of the marked exposure: light at the gate for less is no exposure


def _no_commands(name: str) -> str:
    if any(unicodedata.category(letter) in ("Cc", "Cf", "Zl", "Zp") for letter in name):
        raise ValueError("a name of letters, digits and signs was expected, without control characters.")
    return name


def direction_of(text: str) -> str:
    """'across', 'towards', or an angle between the two, as written; the ends by their names. Raises ValueError."""
    expected = "'across', 'towards', or an angle such as '30 deg' from across towards the camera was expected"
    if text in WAYS_RAD:
        return text
    try:
        angle_rad = quantity(text, "angle")
    except BadInput:
        raise ValueError(f"'{text}' is no direction: {expected}.") from None
    if not 0.0 <= angle_rad <= math.pi / 2 + 1e-9:
        raise ValueError(f"'{text}' is out of range: {expected}, at most '90 deg'.")
    ends = {0.0: "across", math.pi / 2: "towards"}
    return next((name for end, name in ends.items() if math.isclose(angle_rad, end, abs_tol=1e-6)), text)


Name = Annotated[str, AfterValidator(_no_commands)]


class Body(Part):
    """One camera body with its lens, film and connections."""

    name: Annotated[Name, Field(min_length=1, max_length=40)] = Field(description="a name of your own")
    wind: Literal["manual", "motor", "self-cocking"] = Field(description="how the film is wound on")
    release: Literal["half+full", "full", "solenoid"] = Field(description="what fires the body")
    sync: Literal["X", "FP", "M", "none"] = Field(description="the kind of sync contact that is wired")
    frame: Frame = Field(description="a table such as { width = '36 mm', height = '24 mm' }")
    shutter: Shutter = Field(description="a table with 'kind' and what that kind needs")
    lens: Lens = Field(description="a table with focal length and apertures")
    mount: Mount = Field(description="a table with 'looks' and 'top_plate'")
    film: Film | None = Field(None, description="a table with the film's speed and filter")
    scan_pitch_m: ScanPitch | None = Field(
        None, alias="scan", description="the scan resolution, such as '4000 dpi'"
    )
    sensors: Sensors = Field(Sensors(), description="a table of the sensors")
    edges: Edges | None = Field(None, description="a table of edge rules for this body alone")


class Bodies(Part):
    """Body A and body B."""

    a: Body = Field(description="the table of body A")
    b: Body = Field(description="the table of body B")


class Band(Part):
    """What the splitter does to one band of light, as fractions of the light that arrives."""

    transmission: Fraction = Field(description="a number from 0 to 1, such as 0.7")
    reflection: Fraction = Field(description="a number from 0 to 1, such as 0.3")

    @model_validator(mode="after")
    def _no_gain(self) -> Band:
        if self.transmission + self.reflection > 1.0 + 1e-9:
            raise ValueError(
                f"transmission {self.transmission:g} and reflection {self.reflection:g} add up to more "
                "than 1: no splitter gives more light than it gets."
            )
        return self


class Splitter(Part):
    """The glass: which body sees it which way, and its figures by band."""

    a: Literal["transmitted", "reflected"] = Field(
        description="whether body A looks through or by reflection"
    )
    b: Literal["transmitted", "reflected"] = Field(
        description="whether body B looks through or by reflection"
    )
    plate: Plate | None = Field(None, description="a table with 'thickness', for 'coincide glass'")
    bands: dict[str, Band] = Field(
        min_length=1, description="tables by name, such as [splitter.bands.visible] with the two fractions"
    )

    @model_validator(mode="after")
    def _one_each(self) -> Splitter:
        if self.a == self.b:
            raise ValueError(f"a and b are both '{self.a}': one body looks through, the other by reflection.")
        return self


class Release(Part):
    """When the box does what."""

    lead_s: LeadTime = Field(0.3, alias="lead", description="half-press before full-press, such as '300 ms'")
    closure_s: ClosureTime = Field(
        0.15, alias="closure", description="how long full-press is held, such as '150 ms'"
    )
    interval_s: IntervalTime = Field(3.0, alias="interval", description="from pair to pair, such as '3 s'")
    window_s: WindowTime = Field(
        1.0, alias="window", description="how long the box listens after full-press, such as '1 s'"
    )


class Print(Part):
    """A print and the distance it is looked at from."""

    long_side_m: PrintSide = Field(
        alias="long_side", description="the longer side of the print, such as '40 cm'"
    )
    viewed_from_m: ViewingDistance = Field(
        alias="viewed_from", description="the distance the print is seen from, such as '50 cm'"
    )


class Subject(Part):
    """What the tolerance is for: something that moves, and where it is in the frame."""

    name: Name = Field("the subject", description="what it is, such as 'a walker'")
    speed_m_s: Speed = Field(alias="speed", description="its speed, such as '5 km/h'")
    distance_m: Distance = Field(alias="distance", description="its distance from the lens, such as '10 m'")
    direction: Annotated[str, AfterValidator(direction_of)] = Field(
        "across",
        description="the way it moves: 'across', 'towards', or an angle such as '30 deg' from across",
    )
    point: Literal["centre", "corner"] = Field("centre", description="where in the frame it is")

    @property
    def angle_rad(self) -> float:
        """How far its way turns from across (0) towards the camera (pi / 2)."""
        if self.direction in WAYS_RAD:
            return WAYS_RAD[self.direction]
        return quantity(self.direction, "angle")

    @model_validator(mode="after")
    def _moves_on_film(self) -> Subject:
        if self.direction == "towards" and self.point == "centre":
            raise ValueError(
                "point is 'centre', where what comes towards the camera does not move on film: set 'corner'."
            )
        return self


class Tolerance(Part):
    """How far the two pictures of a moving thing may be apart: one measure on film, or a time."""

    time_s: ToleranceTime | None = Field(
        None, alias="time", description="the largest skew of a keeper, such as '2 ms', instead of a subject"
    )
    on_film_m: OnFilm | None = Field(None, alias="on_film", description="a distance on film, such as '30 um'")
    scan_pixels: Positive | None = Field(None, description="a number of scan pixels, such as 2")
    print: Print | None = Field(
        None, description="a table such as { long_side = '40 cm', viewed_from = '50 cm' }"
    )
    subject: Subject | None = Field(None, description="a table with speed, distance and direction")

    @model_validator(mode="after")
    def _one_measure(self) -> Tolerance:
        measures = {"on_film": self.on_film_m, "scan_pixels": self.scan_pixels, "print": self.print}
        given = [name for name, value in measures.items() if value is not None]
        if len(given) > 1:
            raise ValueError(f"{' and '.join(given)} are given: keep one of them.")
        if self.time_s is None and self.subject is None:
            raise ValueError("neither 'time' nor 'subject' is given: a skew is judged by one of them.")
        return self


class Rig(Part):
    """The whole file."""

    format: Literal["coincide-rig"]
    version: Literal[1]
    name: Annotated[Name, Field(min_length=1, max_length=60)] = Field(description="a name of your own")
    bodies: Bodies = Field(description="the tables of both bodies")
    splitter: Splitter | None = Field(None, description="the table of the glass; leave it out without one")
    release: Release = Field(Release(), description="a table with lead, closure, interval and window")
    edges: Edges = Field(Edges(), description="a table with bounce, earliest, latest and shortest")
    tolerance: Tolerance = Field(description="a table with a subject or a time")

    @model_validator(mode="after")
    def _agrees(self) -> Rig:
        for letter, body in zip("ab", self.both, strict=True):
            key = f"bodies.{letter}"
            seen = None if self.splitter is None else getattr(self.splitter, letter)
            straight = body.mount.looks == "straight"
            if self.splitter is None and not straight:
                raise ValueError(
                    f"{key}.mount.looks is '{body.mount.looks}', but there is no [splitter]: add that table."
                )
            if seen is not None and (seen == "transmitted") != straight:
                raise ValueError(
                    f"{key}.mount.looks is '{body.mount.looks}', but splitter.{letter} is '{seen}': the body "
                    "that looks straight through is the one that sees the transmitted light."
                )
            if self.splitter is not None and body.film and body.film.band not in self.splitter.bands:
                raise ValueError(
                    f"{key}.film.band is '{body.film.band}', but [splitter.bands] has only "
                    f"{', '.join(self.splitter.bands)}: add the band or name one of these."
                )
            if self.tolerance.scan_pixels is not None and body.scan_pitch_m is None:
                raise ValueError(
                    f"tolerance.scan_pixels is given, but {key}.scan is not: give the scan resolution, "
                    "such as '4000 dpi'."
                )
        return self

    @model_validator(mode="after")
    def _in_front_of_the_lens(self) -> Rig:
        subject = self.tolerance.subject
        for letter, body in zip("ab", self.both, strict=True):
            f_m, focused_m = body.lens.focal_length_m, body.lens.focused_m
            if focused_m is not None and focused_m < 4 * f_m:
                raise ValueError(
                    f"bodies.{letter}.lens.focused is {focused_m:g} m, nearer than a lens of {f_m * 1e3:g} mm can "
                    f"focus ({4 * f_m:g} m from the film): give what the focusing scale says."
                )
            if subject is not None and subject.distance_m <= f_m:
                raise ValueError(
                    f"tolerance.subject.distance is {subject.distance_m:g} m, inside the focal length of body "
                    f"{letter.upper()}'s lens ({f_m * 1e3:g} mm): nothing there makes a picture."
                )
        return self

    @property
    def both(self) -> tuple[Body, Body]:
        """Body A and body B, in the order of every array."""
        return (self.bodies.a, self.bodies.b)

    def with_body(self, index: int, **parts: object) -> Rig:
        """The same rig with parts of one body (0 = A, 1 = B) exchanged for others that were read already."""
        body = self.both[index].model_copy(update=parts)
        return self.model_copy(update={"bodies": self.bodies.model_copy(update={"ab"[index]: body})})

    @property
    def exposures(self) -> tuple[str, str]:
        """The shutter times that are set, as marked: the name of the pair."""
        return (self.bodies.a.shutter.exposure.text, self.bodies.b.shutter.exposure.text)

    @property
    def edge_rules(self) -> tuple[EdgeRules, EdgeRules]:
        """When an edge counts, for A and B."""
        first, second = (_rules(body.edges or self.edges, body.shutter) for body in self.both)
        return first, second


def _rules(edges: Edges, shutter: Shutter) -> EdgeRules:
    return EdgeRules(
        bounce_s=edges.bounce_s,
        earliest_s=edges.earliest_s,
        latest_s=edges.latest_s,
        shortest_closed_s=edges.shortest_s,
        held_s=HELD * _surely_open_s(shutter),
        # A spike of the sensor (a relay, a spark) is tens of microseconds long; no shutter is ten times too fast.
        gate_shortest_s=max(EdgeRules().gate_shortest_s, LEAST_LIGHT * shutter.exposure.nominal_s),
        # At the shortest times that is no longer than a spike: there the light that lasts tells which was which.
        gate_held_s=SURE_LIGHT * shutter.exposure.nominal_s,
    )


def _surely_open_s(shutter: Shutter) -> float:
    """The least time for which the whole frame is open at the time set, and with it the X contact closed: the mark a
    third of a stop short, the travel a sixth longer than given."""
    shortest_s = shutter.exposure.nominal_s * 2.0 ** (-1 / 3)
    if isinstance(shutter, Leaf):
        taken_s = 0.5 * (shutter.opening_s + shutter.closing_s)
    else:
        taken_s = shutter.readout_s if isinstance(shutter, Electronic) else shutter.travel_s
    return float(max(shortest_s - 7 / 6 * taken_s - shutter.sync_uncertainty_s, 0.0))
