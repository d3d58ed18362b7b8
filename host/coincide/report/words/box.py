"""First lines about a box: where it is, what its bench test came to, what it does alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from coincide.report.words.numbers import count


def found_sentence(ports: Sequence[str], devices: int) -> str:
    """Where the boxes are. ports: of those that answered as one; devices: serial devices there are."""
    if len(ports) == 1:
        return f"The box is on {ports[0]}."
    if ports:
        return f"{len(ports)} boxes: on {', '.join(ports)}."
    plug_in = "Plug the box in with a USB cable that carries data."
    if not devices:
        return f"No box: no serial device is connected. {plug_in}"
    return f"No box: {count(devices, 'serial device')}, and none answers as one. {plug_in}"


def bench_sentence(results: Sequence[tuple[str, bool | None]], *, simulated: bool) -> str:
    """What a bench test came to. results: (what was tested, whether it passed, None where it was left out)."""
    tested = [name for name, passed in results if passed is not None]
    failed = [name for name, passed in results if passed is False]
    left_out = len(results) - len(tested)
    besides = f"; {left_out} left out" if left_out else ""
    if not tested:
        return "Nothing was tested."
    if failed:
        return f"Failed: {', '.join(failed)} ({len(failed)} of {count(len(tested), 'test')}{besides})."
    if simulated:
        return (
            f"Rehearsed on a simulated box: {count(len(tested), 'test')}{besides}. Nobody looked, and nothing of yours "
            "was tested."
        )
    return f"Passed: {count(len(tested), 'test')}{besides}."


def alone_sentence(presets: Sequence[Mapping[str, Any]], used: str | None) -> str:
    """What the box does when it is fired without a computer. used: name of the preset in use."""
    for preset in presets:
        if preset["name"] == used:
            body = "A" if preset["delay_a_ns"] else "B"
            delay_ns = preset["delay_a_ns"] or preset["delay_b_ns"]
            if not delay_ns:
                return f"Alone it delays neither body: preset {used} is in use."
            return f"Alone it delays body {body} by {delay_ns * 1e-6:.3f} ms: preset {used} is in use."
    if presets:
        return "Alone it delays neither body: no preset is in use. '--use' puts one in use."
    return "Alone it delays neither body: no preset is stored. 'coincide calibrate' stores one."
