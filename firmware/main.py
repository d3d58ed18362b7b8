"""Starts the box. Compiled on the board at every start, so it is short."""

from board import safe

safe.open_outputs()

from board import start  # noqa: E402

start.main()
