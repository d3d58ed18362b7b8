"""The splitter as a piece of glass: what its optics depend on. Frozen; SI units in the names."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from coincide.rig.fields import PlateSide, PlateThickness, Wedge
from coincide.rig.parts import Fraction, Part

# Soda-lime (window) glass and common crown: 1.51 to 1.53 over the visible, about 1.51 at 800 nm (handbooks, memory).
USUAL_INDEX = 1.52


class Plate(Part):
    """A plane plate. Its front is the face towards the scene, which is also the face that the body with the
    reflected view looks at; its back is towards the body that looks through."""

    thickness_m: PlateThickness = Field(alias="thickness", description="how thick it is, such as '3 mm'")
    index: Annotated[float, Field(strict=True, ge=1.3, le=2.5)] = Field(
        USUAL_INDEX, description="its refractive index, a number such as 1.52"
    )
    coated: Literal["front", "back"] = Field(
        "front", description="the face that reflects: 'front' is the one towards the scene"
    )
    other_face: Fraction | None = Field(
        None,
        description="what the other face reflects at this angle, such as 0.005 behind an antireflection coating; "
        "leave it out for bare glass",
    )
    width_m: PlateSide | None = Field(
        None, alias="width", description="its size along the axis that it is tilted about, such as '120 mm'"
    )
    length_m: PlateSide | None = Field(
        None, alias="length", description="its size along the slope, such as '170 mm'"
    )
    near_edge_m: PlateSide | None = Field(
        None,
        alias="near_edge",
        description="along the slope, from the edge nearest to the photographer to where the lens axis meets the "
        "glass, such as '70 mm'",
    )
    wedge_rad: Wedge | None = Field(
        None, alias="wedge", description="the angle between its faces, such as '1 arcmin'"
    )

    @model_validator(mode="after")
    def _edge_on_the_glass(self) -> Plate:
        if self.near_edge_m is not None and self.length_m is None:
            raise ValueError("near_edge is given, but 'length' is not: give both.")
        if self.near_edge_m is not None and self.length_m is not None and self.near_edge_m > self.length_m:
            raise ValueError("near_edge is larger than 'length': the axis would miss the glass.")
        return self
