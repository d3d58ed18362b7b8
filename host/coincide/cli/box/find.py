"""`coincide box list` and `coincide box install`: find a board, put the firmware on it."""

from __future__ import annotations

from pathlib import Path

import click

from coincide.cli.terminal import completing
from coincide.cli.terminal.options import folder_option, json_option


@click.command("list")
@click.option(
    "--ask", "named", multiple=True, help="Ask this port too, though it does not look like a board."
)
@json_option
def list_boxes(named: tuple[str, ...], as_json: bool) -> None:
    """List serial devices and say which of them are boxes.

    Only boards are asked; nothing is written to any other device unless --ask names it. Exit code 1 when
    there is no box.

    Example: coincide box list
    """
    from functools import partial

    from coincide.box.cable.discover import ask_patiently, find_boxes
    from coincide.cli.terminal.show import as_json as print_json
    from coincide.cli.terminal.show import aside, say, table
    from coincide.report.words.box import found_sentence

    found = find_boxes(named, ask=partial(ask_patiently, starting=aside))
    boxes = [device.device for device in found if device.identity is not None]
    if as_json:
        print_json({"format": "coincide-box-list-result", "version": 1, "devices": found})
    else:
        say(found_sentence(boxes, len(found)))
        if found:
            table(("port", "what it is"), [(device.device, device.say) for device in found])
    click.get_current_context().exit(0 if boxes else 1)


@click.command("install")
@click.option(
    "--port",
    default=None,
    shell_complete=completing.ports,
    help="Serial port of the board ('coincide box list').",
)
@folder_option("Write the files into a folder instead, exactly as they would lie on the board.")
def install(port: str | None, folder: Path | None) -> None:
    """Copy the firmware onto a board that runs MicroPython, and verify every file by its hash.

    A box that runs already is updated the same way: it is asked to restart into rescue mode first, which it refuses
    while it is armed. Its settings, presets and frame log stay.

    Example: coincide box install --port /dev/ttyACM0
    """
    from coincide.box.install import Progress, install_to_directory
    from coincide.box.install import install as install_on_board
    from coincide.cli.terminal.show import progress, say

    if (port is None) == (folder is None):
        raise click.UsageError("Give either --port or --to.")
    if folder is not None:
        say(f"Wrote {install_to_directory(folder).files} files to {folder}")
        return
    assert port is not None  # one of the two was given
    with progress("installing", None) as bar:
        task = bar.task_ids[0]

        def shown(now: Progress) -> None:
            bar.update(task, description=now.name, completed=now.bytes_done, total=now.bytes_all)

        done = install_on_board(port, shown)
    say(
        f"MicroPython {done.micropython} on {port}: {done.written} of {done.files} files written "
        f"({'compiled' if done.compiled else 'as source'}), all verified."
    )
    if done.identity is not None:
        say(
            f"It has restarted and answers: firmware {done.identity.firmware}, start number {done.identity.boot}."
        )
    if done.crash is not None:
        say(f"It has a crash on record, of start number {done.crash.get('boot')}: {done.crash.get('text')}")
    say(f"Next: coincide box check --port {port}")
