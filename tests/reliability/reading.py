"""What every reader is made of: where its file lies, and what it may say."""

from __future__ import annotations

import os
import tempfile
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from coincide.errors import CoincideError


@dataclass(frozen=True)
class Reader:
    """`read` takes bytes; `samples` are right ones, for damage to start from."""

    read: Callable[[bytes], None]
    samples: Callable[[], tuple[bytes, ...]]


@contextmanager
def refused_in_a_sentence() -> Iterator[None]:
    """What is wrong with the bytes may be said, and only so."""
    try:
        with warnings.catch_warnings():
            # Arithmetic on nonsense may give NaN; a warning of numpy's is no traceback.
            warnings.simplefilter("ignore", RuntimeWarning)
            yield
    except CoincideError as refusal:
        said = str(refusal)
        assert said.strip()
        assert "Traceback" not in said
        assert len(said) < 2000, said


@cache
def _kept() -> tempfile.TemporaryDirectory[str]:
    return tempfile.TemporaryDirectory(prefix="coincide-readers-")


def folder() -> Path:
    return Path(_kept().name)


def file_of(name: str, content: bytes) -> Path:
    path = folder() / f"{os.getpid()}-{name}"
    path.write_bytes(content)
    return path
