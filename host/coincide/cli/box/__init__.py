"""`coincide box`: find, install, check, simulate and set the box."""

from __future__ import annotations

import click

from coincide.cli.box.check import check
from coincide.cli.box.find import install, list_boxes
from coincide.cli.box.serve import serve
from coincide.cli.box.settings import settings


@click.group("box")
def command() -> None:
    """Find, install, check, simulate and set the box.

    The box is a board with an RP2040 or RP2350 chip, MicroPython 1.24 or newer and the firmware that
    'coincide box install' puts on it.
    """


for _one in (list_boxes, install, check, serve, settings):
    command.add_command(_one)
