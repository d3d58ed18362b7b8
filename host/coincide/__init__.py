"""coincide makes two camera bodies expose the same moment.

For scripts (docs/scripting.md):

    import coincide
    series = coincide.load("sessions/20261125-101200-1-60+1-30-series.jsonl")
    series.measured.skew_s          # one skew a pair, seconds, NaN where a body did not answer
    series.suggestion.offset_s      # positive: the box holds body A back
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from coincide.driving import calibrate, open_box, ready, series, watch
    from coincide.errors import BadInput, BoxFailed, CoincideError
    from coincide.rig.file import load_rig
    from coincide.scripting import (
        Analysis,
        Verification,
        calibrations,
        load,
        pairs,
        read_frames,
        to_json,
        verify,
    )
    from coincide.session.file import read_session
    from coincide.units import quantity, shutter_time

# Fetched when first asked for: numpy and scipy take most of a second, which `coincide --help` must not wait for.
_FROM = {
    "Analysis": "coincide.timing.analysis",
    "BadInput": "coincide.errors",
    "BoxFailed": "coincide.errors",
    "CoincideError": "coincide.errors",
    "Verification": "coincide.timing.offset.verify",
    "calibrate": "coincide.driving",
    "calibrations": "coincide.scripting",
    "load": "coincide.scripting",
    "load_rig": "coincide.rig.file",
    "open_box": "coincide.driving",
    "pairs": "coincide.scripting",
    "quantity": "coincide.units",
    "read_frames": "coincide.scripting",
    "ready": "coincide.driving",
    "series": "coincide.driving",
    "watch": "coincide.driving",
    "read_session": "coincide.session.file",
    "shutter_time": "coincide.units",
    "to_json": "coincide.scripting",
    "verify": "coincide.scripting",
}

__all__ = [
    "Analysis",
    "BadInput",
    "BoxFailed",
    "CoincideError",
    "Verification",
    "calibrate",
    "calibrations",
    "load",
    "load_rig",
    "open_box",
    "pairs",
    "quantity",
    "read_frames",
    "read_session",
    "ready",
    "series",
    "shutter_time",
    "to_json",
    "verify",
    "watch",
]


def __getattr__(name: str) -> Any:
    if name == "__version__":
        from importlib.metadata import version

        return version("coincide")
    if name not in _FROM:
        raise AttributeError(f"module 'coincide' has no attribute {name!r}")
    return getattr(import_module(_FROM[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__, "__version__"])
