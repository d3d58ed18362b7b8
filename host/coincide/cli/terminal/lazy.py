"""A click group that imports a command only when it runs or when its own help is asked for.

`coincide --help` has to appear at once; numpy, scipy and matplotlib would make it wait.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from typing import Any

import click


class ReaderLeft(Exception):
    """Whoever read what is printed has left (`| head`)."""


class LazyGroup(click.Group):
    """`lazy` maps a command's name to (module, one-line help). The module holds it as `command`."""

    def __init__(self, *, lazy: Mapping[str, tuple[str, str]], **settings: object) -> None:
        super().__init__(**settings)  # type: ignore[arg-type]
        self._lazy = lazy

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except BrokenPipeError:
            raise ReaderLeft from None  # click itself would make a failure of it

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self._lazy)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self._lazy:
            return None
        command = import_module(self._lazy[cmd_name][0]).command
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """A near miss is named: 'calibate' is answered with 'calibrate'."""
        name = args[0]
        if name not in self._lazy and not name.startswith("-"):
            from difflib import get_close_matches

            near = get_close_matches(name, self._lazy, n=1)
            hint = f" Did you mean '{near[0]}'?" if near else " 'coincide --help' lists them."
            raise click.UsageError(f"There is no command '{name}'.{hint}", ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, said) for name, (_, said) in self._lazy.items()])
