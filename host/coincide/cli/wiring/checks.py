"""`coincide wiring cautions` and `check`: what can hurt, and what is wrong with a build."""

from __future__ import annotations

import click

from coincide.cli.terminal import show
from coincide.cli.terminal.cautions import show_cautions
from coincide.cli.terminal.options import json_option
from coincide.cli.terminal.topics.circuits import NearChoice, chosen_build, circuit_options, wiring_json
from coincide.report.words.numbers import count


@click.command("cautions")
@click.option(
    "--at",
    "place",
    type=NearChoice(["open", "meter", "arm", "lamp", "gate", "solenoid"]),
    help="Only what matters at one place.",
)
@click.option("--acknowledge", is_flag=True, help="I have read all of them: keep that on this machine.")
@json_option
def cautions(place: str | None, acknowledge: bool, as_json: bool) -> None:
    """What can hurt you, a body or a shutter, in the order the hand gets there.

    The first real release on a machine waits for '--acknowledge', once for this wording.

    \b
    Example:
      coincide wiring cautions --at meter
      coincide wiring cautions --acknowledge
    """
    from coincide_wiring.cautions import PLACES, cautions_for, digest

    if acknowledge and place is not None:
        raise click.UsageError("'--acknowledge' is for all of them: leave '--at' out.")
    chosen = PLACES if place is None else {place: PLACES[place]}
    if as_json:
        said = [one for key in chosen for one in cautions_for(key)]
        wiring_json("-cautions", {"digest": digest(), "cautions": said})
    else:
        told = [one for key in chosen for one in cautions_for(key)]
        grave = sum(one.grave for one in told)
        show.say(
            f"{count(len(told), 'caution')}, {grave} of them marked DANGER: read each before the hand gets there."
        )
        show_cautions(chosen, aside=False)
    if acknowledge:
        from coincide.bench.opening.acknowledge import acknowledge as keep

        show.aside(f"\nAcknowledged; kept in {keep()}.")


@click.command("check")
@circuit_options(usual=True)
@json_option
def check(as_json: bool, **chosen: str) -> None:
    """Electrical rule check of a build: the same data the drawings come from.

    Leaves with 1 when something is wrong.

    \b
    Example:
      coincide wiring check --sync-a wetted --release-b solenoid
    """
    from coincide_wiring.netlist import digest
    from coincide_wiring.sound import check as faults_of

    build = chosen_build(chosen)
    faults = faults_of(build)
    if as_json:
        wiring_json("-check", {"sound": not faults, "wiring_digest": digest(build), "faults": faults})
    elif faults:
        show.say(
            f"Not sound: {len(faults)} {'fault' if len(faults) == 1 else 'faults'}. Mend before you switch on."
        )
        show.table(("rule", "where", "what"), ((one.rule, one.where, one.say) for one in faults), "Faults")
    else:
        show.say(
            show.wrapped(
                "Sound: every pin used once, every output isolated and held off at boot, the two bodies, the rig and "
                "the board joined nowhere, every input and part within its ratings, every computed value within its "
                "limits, with the loopback plug in as well."
            )
        )
    if faults:
        raise click.exceptions.Exit(1)
