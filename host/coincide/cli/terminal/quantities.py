"""Kinds of option value: what people write, read into SI. Each refusal is one sentence naming the option."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from coincide.errors import BadInput

if TYPE_CHECKING:
    from coincide.units import Kind


_LEAST_SHARE = 0.05
_MOST_TURNING_RAD_S = 1.7453  # 100 degrees a second: a rig that is whirled about


class Read(click.ParamType):  # type: ignore[type-arg,unused-ignore]
    """Reads text by a function that raises BadInput; values of other kinds (defaults) pass as they are."""

    def __init__(self, name: str, read: Callable[[str], float]) -> None:
        self.name = name
        self._read = read

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if not isinstance(value, str):
            return value
        try:
            return self._read(value)
        except BadInput as refused:
            option = param.opts[-1] if param is not None else self.name
            raise BadInput(f"{option}: {refused}") from None


def quantity_above_zero(
    kind: Kind, *, or_zero: bool = False, least: str | None = None, most: str | None = None
) -> Read:
    """'15 km/h', '10 m', '1 ms'. `or_zero`: nothing at all is a sensible answer too.

    `least`, `most`: what can be meant; beyond them it is a slip of the pen, and asked about.
    """

    def read(text: str) -> float:
        from coincide.units import quantity

        found = quantity(text, kind)
        if found < 0 or (found == 0 and not or_zero):
            raise BadInput(f"'{text}' is not more than zero.")
        if found and (
            (least is not None and found < quantity(least, kind))
            or (most is not None and found > quantity(most, kind))
        ):
            raise BadInput(f"is '{text}' meant? A {kind} from {least} to {most} was expected.")
        return found

    return Read(kind, read)


def _share(text: str) -> float:
    written = text.strip().replace(",", ".")
    wanted = written.removesuffix("%").removesuffix("percent").removesuffix("per cent")
    try:
        found = float(wanted) / (1.0 if wanted == written else 100.0)
    except ValueError:
        found = 0.0
    if not 0.0 < found < 1.0:
        raise BadInput(
            f"'{text}' is no share of pairs: one between 0 and 1 was expected, such as 0.9 or '90 %'."
        )
    if found < _LEAST_SHARE:
        raise BadInput(
            f"is '{text}' meant, fewer than one pair in twenty? Such as 0.9 or '90 %' was expected."
        )
    return found


def _aperture(text: str) -> float:
    from coincide.units import f_number

    return f_number(text)


def _turning(text: str) -> float:
    from coincide.planning.subjects import HELD_RATES_RAD_S
    from coincide.units import quantity

    rough = {"tripod": 0.0, **{name: rate for name, rate in HELD_RATES_RAD_S.items() if " " not in name}}
    if text in rough:
        return rough[text]
    try:
        rate = abs(quantity(text, "rotation"))
    except BadInput as refused:
        raise BadInput(f"{refused} Or one of: {', '.join(rough)}.") from None
    if rate > _MOST_TURNING_RAD_S:
        raise BadInput(
            f"is '{text}' meant? At most 100 deg/s was expected, such as '2 deg/s', or one of: {', '.join(rough)}."
        )
    return rate


class _Direction(click.ParamType):  # type: ignore[type-arg,unused-ignore]
    """'across', 'towards' or an angle between them, as the rig file takes it."""

    name = "direction"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        from coincide.rig.model import direction_of

        try:
            return direction_of(value)
        except ValueError as refused:
            raise BadInput(f"--direction: {refused}") from None


DIRECTION = _Direction()
SPEED = quantity_above_zero("speed", least="0.001 m/s", most="1000 m/s")
LENGTH = quantity_above_zero("length")
DISTANCE = quantity_above_zero("length", least="1 cm", most="100 km")
FOCAL_LENGTH = quantity_above_zero("length", least="1 mm", most="3 m")
JITTER = quantity_above_zero("time", or_zero=True, least="1 us", most="1 s")
TIME = quantity_above_zero("time", or_zero=True)
SHARE = Read("share", _share)
APERTURE = Read("f-number", _aperture)
TURNING = Read("rate", _turning)
