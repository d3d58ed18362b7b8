"""What `coincide scans --json` saved, read back: the regions, and how the two scans lie on each other."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from coincide.errors import BadInput
from coincide.ghost.held import Laid
from coincide.inputs import read_bytes

SCANS_FORMAT = "coincide-scans-result"
LARGEST_FILE_BYTES = 16 << 20
REGIONS_MOST = 100_000

_Pixels = Annotated[float, Field(ge=-1e6, le=1e6)]
_Apart = Annotated[float, Field(ge=0, le=1e6)]
_One = Annotated[float, Field(ge=-1.001, le=1.001)]
_Side = Annotated[int, Field(ge=1, le=1_000_000)]


@dataclass(frozen=True, slots=True)
class Region:
    """One region of a pair of scans. pitch_um: of A, None where it is not known; size_px: of A's frame; laid: how B
    lies on A. centre_px, by_px, u_px, across as in `scans.moved.region.Region`."""

    number: int
    centre_px: tuple[float, float]
    by_px: tuple[float, float]
    u_px: tuple[float, float]
    pitch_um: float | None
    size_px: tuple[float, float]
    laid: Laid
    across: tuple[float, float] | None = None


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, allow_inf_nan=False)


class _Moved(_Part):
    number: Annotated[int, Field(ge=1, le=1_000_000)]
    centre_px: tuple[_Pixels, _Pixels]
    by_px: tuple[_Pixels, _Pixels]
    u_px: tuple[_Apart, _Apart]
    across: tuple[_One, _One] | None = None


class _Frame(_Part):
    pitch_um: Annotated[float, Field(gt=1e-3, lt=1e4)] | None
    size_px: tuple[_Side, _Side]


class _Registration(_Part):
    mirrored: bool
    turn_deg: Annotated[float, Field(ge=-360, le=360)]


class _Result(_Part):
    format: Literal["coincide-scans-result"]
    version: Literal[1]
    a: _Frame
    registration: _Registration
    regions: Annotated[tuple[_Moved, ...], Field(max_length=REGIONS_MOST)]


def regions_of(path: Path) -> dict[int, Region]:
    """The regions of a file that `coincide scans --json` printed, by number. Raises BadInput naming the key."""
    content = read_bytes(path, "what 'coincide scans --json' printed", LARGEST_FILE_BYTES)
    try:
        found = _Result.model_validate_json(content)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        key = ".".join(map(str, first["loc"]))
        why = f": {key}: {first['msg']}" if key else ""
        raise BadInput(f"{path} is not what 'coincide scans --json' printed{why:.300}.") from None
    laid = Laid(found.registration.mirrored, found.registration.turn_deg)
    return {
        one.number: Region(
            one.number,
            one.centre_px,
            one.by_px,
            one.u_px,
            found.a.pitch_um,
            found.a.size_px,
            laid,
            one.across,
        )
        for one in found.regions
    }
