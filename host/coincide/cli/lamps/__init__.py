"""`coincide lamps`: both bodies photograph a row of lamps; what the frames show tells skew, lag and exposure."""

from __future__ import annotations

import click

from coincide.cli.lamps.fire import fire
from coincide.cli.lamps.frames import read, show


@click.group("lamps")
def command() -> None:
    """For bodies without a sync contact or a reachable gate: photograph the box's row of lamps.

    The lamps light one after another. Both bodies photograph the row, and the first and last lamp on each
    frame say when its exposure began and ended. 'fire' takes the frames, 'read' takes down what they show,
    'show' works out the rest, as often as you like.
    """


for _one in (fire, read, show):
    command.add_command(_one)
