"""Options of the tests that need a chip, real or emulated."""

from __future__ import annotations

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    group = parser.getgroup(
        "chip", "a board on a jig, or an emulated chip, with the bodies of tests/chip on its pins"
    )
    group.addoption("--chip-port", metavar="PATH", help="serial port behind which the box answers")
    group.addoption(
        "--chip-slowdown",
        metavar="N",
        type=float,
        default=1.0,
        help="how many times slower than real time the chip runs; host time-outs are stretched by it",
    )
    group.addoption(
        "--micropython-uf2", metavar="PATH", help="a MicroPython for the RP2040, to be booted in rp2040py"
    )
