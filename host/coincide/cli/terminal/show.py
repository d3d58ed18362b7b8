"""Printing: sentences and tables to people, JSON to programs, progress to the terminal only."""

from __future__ import annotations

import codecs
import io
import json
import shutil
import sys
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, TextIO

import click

from coincide.cli.terminal.again import Given

if TYPE_CHECKING:
    from rich.progress import Progress


# Everything that moves a terminal's cursor, changes its title or turns the direction of writing.
_COMMANDS = dict.fromkeys(
    (*range(9), *range(11, 32), *range(127, 160), *range(0x202A, 0x202F), *range(0x2066, 0x206A)), "\ufffd"
)


# For terminals and pipes that know no more than their country's letters; anything else becomes '?'.
_PLAINER = {
    "µ": "u",
    "μ": "u",
    "Ω": "ohm",
    "×": "x",
    "±": "+-",
    "−": "-",
    "°": " deg",
    "·": "-",
    "→": "->",
    "≥": ">=",
}


def print_anything() -> None:
    """From here on no character stops a command: what an output cannot show is written plainer. Unicode can show all
    but the bytes of a file's name that is none."""
    codecs.register_error("coincide-plainer", _plainer)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="coincide-plainer")


def _plainer(error: UnicodeError) -> tuple[str, int]:
    assert isinstance(error, UnicodeEncodeError)
    lost = error.object[error.start : error.end]
    return "".join(_PLAINER.get(one, "?") for one in lost), error.end


def _is_unicode(stream: TextIO) -> bool:
    return (stream.encoding or "utf-8").lower().replace("-", "").startswith("utf")


def harmless(text: str) -> str:
    """The text without anything a terminal would obey: names and sentences out of files are strangers' words."""
    return text.translate(_COMMANDS)


def say(sentence: str = "") -> None:
    """A line for the person, on standard output; in a terminal broken between words."""
    click.echo(_fitted(_again(harmless(sentence)), sys.stdout))


def aside(sentence: str) -> None:
    """A line that is no result (progress, what is about to happen): standard error, so pipes stay clean."""
    click.echo(_fitted(_again(harmless(sentence)), sys.stderr), err=True)


def _again(sentence: str) -> str:
    """Next steps in the sentence, with the rig file that was named."""
    context = click.get_current_context(silent=True)
    return (
        context.obj.repeated(sentence) if context is not None and isinstance(context.obj, Given) else sentence
    )


WIDE = 72  # columns where nobody looks at a terminal: what a page of docs or a letter has room for
NARROWEST = 20  # less is no terminal anybody reads on


def _columns() -> int:
    return max(shutil.get_terminal_size().columns - 1, NARROWEST)


def wrapped(text: str, first: str = "", rest: str = "", *, stream: TextIO | None = None) -> str:
    """Text broken between words to the terminal's width (WIDE at the most), its first line and the others led
    by `first` and `rest`."""
    seen_by = sys.stdout if stream is None else stream
    columns = min(_columns(), WIDE) if seen_by.isatty() else WIDE
    return textwrap.fill(
        harmless(text),
        columns,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    )


def _fitted(text: str, stream: TextIO) -> str:
    """The text broken between words to the width of a terminal; as it is where nobody looks, or it is set."""
    if not stream.isatty() or text.startswith(" ") or "\n" in text:
        return text
    return textwrap.fill(text, _columns(), break_long_words=False)


def as_json(result: Any) -> None:
    """One JSON object on standard output: dataclasses and arrays as plain JSON, NaN as null."""
    from coincide.report.json.plain import to_json

    text = to_json(result)
    if not _is_unicode(sys.stdout):
        # JSON has a way of its own to write any letter with plain ones.
        text = "".join(one if one.isascii() else json.dumps(one)[1:-1] for one in text)
    click.echo(text)


def table(columns: Sequence[str], rows: Iterable[Sequence[str]], title: str | None = None) -> None:
    """A table; numbers (columns whose heading ends in a unit after a comma) to the right."""
    from rich import box
    from rich.console import Console
    from rich.table import Table

    class Printing(Console):
        def on_broken_pipe(self) -> None:
            raise BrokenPipeError  # as everywhere else: that the reader left is no failure

    width = _columns() + 1 if sys.stdout.isatty() else WIDE
    cells = [[_again(harmless(cell)) for cell in row] for row in rows]
    # Two between columns: one beside each cell, one of the frame's own, which has no sides.
    drawn = Table(
        title=None if title is None else f"{title}\n",
        title_justify="left",
        title_style="bold",
        box=box.SIMPLE_HEAD,
        pad_edge=False,
        show_edge=False,
        padding=(0, 1, 0, 0),
    )
    for name, heading in zip(columns, _headings(columns, cells, width), strict=True):
        drawn.add_column(heading, justify="right" if "," in name else "left", overflow="fold")
    for row in cells:
        drawn.add_row(*row)
    click.echo()
    Printing(width=width, highlight=False, markup=False).print(drawn)
    click.echo()


def _headings(columns: Sequence[str], cells: Sequence[Sequence[str]], width: int) -> list[str]:
    """The headings; where the table is too wide, broken between words to what stands under them."""
    under = [max((len(row[at]) for row in cells), default=0) for at in range(len(columns))]
    if sum(max(one, len(name)) + 2 for one, name in zip(under, columns, strict=True)) - 2 <= width:
        return list(columns)
    return [
        textwrap.fill(name, max(one, *map(len, name.split())), break_on_hyphens=False) if name else name
        for one, name in zip(under, columns, strict=True)
    ]


@contextmanager
def progress(what: str, total: int | None) -> Iterator[Progress]:
    """A progress bar on standard error, with one task; plain silence where that is not a terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=True)
    with Progress(
        TextColumn("{task.description}"),
        BarColumn(bar_width=24),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=console,
        disable=not console.is_terminal,
        transient=True,
    ) as bar:
        bar.add_task(what, total=total)
        yield bar
