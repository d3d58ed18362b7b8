"""Spread work over the processor's cores. numpy and scipy let go of the interpreter while they calculate."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")

WORKERS = max(1, min(4, os.cpu_count() or 1))


def spread(work: Callable[[Item], Result], items: Iterable[Item]) -> list[Result]:
    """`work` of every item, in their order."""
    with ThreadPoolExecutor(WORKERS) as pool:
        return list(pool.map(work, items))
