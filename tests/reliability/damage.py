"""Damage to a right sample: bytes changed, lost, repeated, and numbers put out of range."""

from __future__ import annotations

import re
from random import Random

ODD_NUMBERS = (
    b"0",
    b"-1",
    b"0.5",
    b"1e-300",
    b"1e308",
    b"1e999",
    b"nan",
    b"2147483648",
    b"9223372036854775807",
    b"-9223372036854775808",
    b"99999999999999999999",
    b"9" * 400,
    b"true",
    b"null",
    b"[]",
    b'"x"',
)
_NUMBER = re.compile(rb"-?\d+(?:\.\d+)?")


def damaged(sample: bytes, random: Random, edits: int) -> bytes:
    """The sample after so many edits."""
    content = bytearray(sample)
    for _ in range(edits):
        at = random.randrange(len(content) + 1)
        kind = random.randrange(6)
        if kind == 0:
            content[at : at + random.randint(0, 10)] = random.randbytes(random.randint(0, 6))
        elif kind == 1 and at < len(content):
            content[at] ^= 1 << random.randrange(8)
        elif kind == 2:
            start = random.randrange(len(content) + 1)
            content[at:at] = content[start : start + random.randint(1, 200)]
        elif kind == 3:
            del content[at : at + random.randint(1, 200)]
        elif kind == 4:
            del content[at:]
        else:
            found = _NUMBER.search(content, at) or _NUMBER.search(content)
            if found is not None:
                content[found.start() : found.end()] = random.choice(ODD_NUMBERS)
    return bytes(content)
