"""Results as plain JSON: dataclasses become objects, arrays lists, NaN null, paths text."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path
from typing import Any

import numpy as np

from coincide.inputs import sayable


def to_plain(value: Any) -> Any:
    """The same value made of dict, list, str, int, float, bool and None only.

    JSON has no NaN and no infinity; both become null, which readers must take as 'not known'.
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: to_plain(getattr(value, f.name)) for f in dataclasses.fields(value) if f.repr}
    if isinstance(value, np.ndarray):
        return to_plain(value.tolist())
    if isinstance(value, np.generic):
        return to_plain(value.item())
    if isinstance(value, dict):
        return {str(key): to_plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [to_plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, str | Path):
        return sayable(str(value))
    return value


def to_json(value: Any) -> str:
    """Indented JSON text of any result."""
    import orjson

    return orjson.dumps(to_plain(value), option=orjson.OPT_INDENT_2).decode()
