"""The person's word that the cautions were read, once per machine and per wording.

Kept in the user's configuration directory. `require_acknowledgement` is called before the first real arm;
the simulated box needs none, as nothing there can hurt.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

from platformdirs import user_config_path

from coincide.bench.person import Person, Question
from coincide.durable import replace_whole
from coincide.errors import BadInput
from coincide_wiring.cautions import PLACES, cautions_for, digest

FILE_NAME = "acknowledged.json"
LARGEST_BYTES = 1 << 12


def acknowledgement_path(directory: Path | None = None) -> Path:
    """Where the acknowledgement is kept; `directory` replaces the user's configuration directory."""
    return (user_config_path("coincide", appauthor=False) if directory is None else directory) / FILE_NAME


def acknowledged(directory: Path | None = None) -> bool:
    """Whether the cautions were acknowledged in their present wording on this machine.

    A file that cannot be read or understood counts as no acknowledgement.
    """
    path = acknowledgement_path(directory)
    try:
        if not path.is_file():
            return False
        with path.open("rb") as file:
            kept = json.loads(file.read(LARGEST_BYTES))
    except (OSError, ValueError, RecursionError):
        return False
    return isinstance(kept, dict) and kept.get("cautions") == digest()


def acknowledge(directory: Path | None = None, now: datetime | None = None) -> Path:
    """Keep the acknowledgement of the present wording. Raises BadInput when it cannot be written."""
    path = acknowledgement_path(directory)
    at = (datetime.now(UTC) if now is None else now).isoformat(timespec="seconds")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        replace_whole(path, json.dumps({"cautions": digest(), "at": at}).encode() + b"\n")
    except OSError as failure:
        raise BadInput(
            f"The acknowledgement could not be kept in {path}: {failure.strerror}. Make that folder writable, or set "
            "XDG_CONFIG_HOME to one that is."
        ) from failure
    return path


def acknowledged_now() -> str:
    """The person has read them and said so: that is kept, and where it cannot be, this run goes on. What to say."""
    try:
        return f"Acknowledged; kept in {acknowledge()}. You will not be asked again."
    except BadInput as failure:
        return f"Acknowledged for this run; you will be asked again. {failure}"


def require_acknowledgement(directory: Path | None = None) -> None:
    """Do nothing if the cautions were acknowledged. Raises BadInput that says how to do it otherwise."""
    if not acknowledged(directory):
        raise BadInput(
            "The cautions have not been acknowledged on this machine (or have changed since): read them and say "
            "so once with 'coincide wiring cautions --acknowledge'. Nothing was armed."
        )


def cautions_first(person: Person) -> None:
    """Return when they were acknowledged here, now or before. Raises BadInput when they are not.

    Only a person who is there is asked; a script is told what to do first.
    """
    if acknowledged():
        return
    if person.there:
        person.tell(
            "A real box, for the first time on this machine (or the cautions have changed). Read them all:"
        )
        for place, title in PLACES.items():
            person.tell(f"\n{title}")
            for one in cautions_for(place):
                person.tell(f"  - {'DANGER: ' if one.grave else ''}{one.say}")
        if person.confirm(Question("\nRead, understood, and kept to?")):
            person.tell(acknowledged_now())
            return
    require_acknowledgement()
