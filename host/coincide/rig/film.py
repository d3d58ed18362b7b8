"""What records the picture: film speed, the filter before it, long exposures, and how far off they may be."""

from __future__ import annotations

from typing import Annotated

from pydantic import BeforeValidator, Field, model_validator

from coincide.rig.fields import MeterTime
from coincide.rig.parts import Part


class Reciprocity(Part):
    """Long exposures: time needed = from * (metered / from) ** power, beyond `from`; or a table of pairs."""

    power: Annotated[float, Field(strict=True, ge=1.0, le=3.0)] | None = Field(
        None,
        description="a number from 1 to 3: the time needed is the metered time to this power, beyond 'from'",
    )
    from_s: MeterTime = Field(
        1.0, alias="from", description="the metered time from which the film needs more, such as '1 s'"
    )
    table: tuple[tuple[MeterTime, MeterTime], ...] = Field(
        (), description="pairs of metered and needed time, such as [['1 s', '1.5 s'], ['10 s', '25 s']]"
    )

    @model_validator(mode="after")
    def _one_law(self) -> Reciprocity:
        if (self.power is None) == (not self.table):
            raise ValueError("give either 'power' (with 'from') or 'table'.")
        metered = [pair[0] for pair in self.table]
        needed = [pair[1] for pair in self.table]
        if metered != sorted(set(metered)) or needed != sorted(set(needed)):
            raise ValueError("the pairs of 'table' must rise from one to the next, in both columns.")
        if any(want < have for have, want in self.table):
            raise ValueError("in 'table' no needed time may be shorter than the metered one.")
        return self


class Latitude(Part):
    """How far off an exposure may be and still make a good picture, in stops either way."""

    under_stops: Annotated[float, Field(strict=True, ge=0.0, le=10.0)] = Field(
        0.5, alias="under", description="stops of under-exposure that still do, such as 0.5"
    )
    over_stops: Annotated[float, Field(strict=True, ge=0.0, le=10.0)] = Field(
        0.5, alias="over", description="stops of over-exposure that still do, such as 2"
    )

    def holds(self, error_stops: float) -> bool:
        """Whether an exposure that far off (positive over-exposes) still does."""
        return -self.under_stops - 1e-9 <= error_stops <= self.over_stops + 1e-9


# Half a stop either way for slides; negatives stand more light, and no more shadow. Common practice, no source.
LATITUDES = {"slide": {"under": 0.5, "over": 0.5}, "negative": {"under": 0.5, "over": 2.0}}


def _latitude(value: object) -> object:
    if not isinstance(value, str):
        return value
    if value not in LATITUDES:
        raise ValueError(
            f"'{value:.60}' was found; 'slide', 'negative' or a table such as {{ under = 0.5, over = 2 }} was expected."
        )
    return LATITUDES[value]


class Film(Part):
    """What records the picture, and the filter in front of it."""

    name: str = Field("", description="a name of your own for the film")
    iso: Annotated[float, Field(strict=True, ge=0.1, le=1e6)] = Field(
        description="the film speed, such as 400"
    )
    filter_stops: Annotated[float, Field(strict=True, ge=0.0, le=20.0)] = Field(
        0.0, description="stops taken by the filter, such as 4"
    )
    effective_index: Annotated[float, Field(strict=True, ge=0.01, le=1e6)] | None = Field(
        None,
        description="the film speed behind the filter, as found by test, such as 25",
    )
    index_includes_glass: bool = Field(
        False,
        strict=True,
        description="true where 'effective_index' was found by photographing through the glass, false where not",
    )
    latitude: Annotated[Latitude, BeforeValidator(_latitude)] = Field(
        Latitude(), description="'slide', 'negative' or a table such as { under = 0.5, over = 2 }, in stops"
    )
    band: str = Field("visible", description="the name of a band of the splitter, such as 'infrared'")
    reciprocity: Reciprocity | None = Field(None, description="a table such as { power = 1.3, from = '1 s' }")

    @model_validator(mode="after")
    def _one_filter(self) -> Film:
        if self.effective_index is not None and self.filter_stops:
            raise ValueError(
                "give 'filter_stops' or 'effective_index', not both: the index contains the filter."
            )
        if self.index_includes_glass and self.effective_index is None:
            raise ValueError("'index_includes_glass' says something of 'effective_index', which is missing.")
        return self
