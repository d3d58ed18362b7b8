"""Taking from the box whatever it still has to tell."""

from __future__ import annotations

from collections.abc import Callable

from coincide.box.cable.client import BoxClient
from coincide.errors import BoxFailed

LISTEN_S = 0.25  # how long a wish to stop, or Enter for 'wound', may go unnoticed
DRAIN_PATIENCE_S = 120.0
UNDER_WAY = ("firing", "listening")
BAD_LINE = (
    "The box on {port} has more to tell and it does not come through whole, or never ends: try another cable or USB "
    "socket, then run the same command again; the box keeps it meanwhile."
)


def drain(client: BoxClient, listen: Callable[[], None], patience_s: float = DRAIN_PATIENCE_S) -> None:
    """Let `listen` take events until no pair is under way and the box holds none that has not come.

    Raises BoxFailed when that takes unreasonably long: a line that lets short messages through and no long ones.
    """
    given_up = client.port.now_s() + patience_s * client.talk.slowdown
    status = client.status()
    while status.state in UNDER_WAY or client.events_to_come(status):
        if client.port.now_s() > given_up:
            raise BoxFailed(BAD_LINE.format(port=client.port.name))
        listen()
        status = client.status()
