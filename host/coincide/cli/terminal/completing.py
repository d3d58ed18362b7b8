"""What a shell offers at the Tab key where click cannot know it: ports that are there, and worlds."""

from __future__ import annotations

import click
from click.shell_completion import CompletionItem


def ports(_context: click.Context, _parameter: click.Parameter, begun: str) -> list[CompletionItem]:
    """Serial ports of this machine, with what each says it is."""
    from serial.tools.list_ports import comports

    return [
        CompletionItem(port.device, help=port.description)
        for port in comports()
        if port.device.startswith(begun)
    ]


def worlds(_context: click.Context, _parameter: click.Parameter, begun: str) -> list[CompletionItem]:
    """Simulated worlds, their names joined by hyphens: a shell would break them at blanks."""
    from coincide.box.simulated.worlds import WORLDS

    return [
        CompletionItem(name, help=world.say)
        for world in WORLDS
        if (name := world.name.replace(" ", "-")).startswith(begun.casefold())
    ]
