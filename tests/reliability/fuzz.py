"""Coverage-guided fuzzing of one reader, as a process: `python -m tests.reliability.fuzz READER FOLDER [options]`.

The folder is the corpus; the options are libFuzzer's, whose `-runs`, `-timeout` and `-rss_limit_mb` bound tries, time
for one try, and memory. It ends with exit code 0 unless a try failed, hung or took too much memory.
"""

from __future__ import annotations

import sys
from random import Random

import atheris

with atheris.instrument_imports(include=["coincide", "coincide_firmware"]):
    from tests.reliability.readers import MOST_BYTES, READERS

from tests.reliability.damage import damaged


def mutated(content: bytes, most: int, seed: int) -> bytes:
    """Half the time the fuzzer's own mutation, half the time damage that knows of numbers."""
    random = Random(seed)
    if not content or random.random() < 0.5:
        return bytes(atheris.Mutate(content, most))
    return damaged(content, random, random.randint(1, 3))[:most]


def main() -> None:
    reader = READERS[sys.argv[1]]
    reader.samples()
    atheris.Setup(
        [sys.argv[0], f"-max_len={MOST_BYTES}", *sys.argv[2:]],
        reader.read,
        custom_mutator=mutated,
    )
    atheris.Fuzz()


if __name__ == "__main__":
    main()
