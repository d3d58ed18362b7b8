"""What a serial port hears of a device that speaks at another rate: real bits, sampled at the wrong times."""

from __future__ import annotations


def misread(text: bytes, sent_baud: int, read_baud: int) -> bytes:
    """Bytes sent with one start and one stop bit, as a receiver at another rate frames them.

    A frame begins with a falling edge; each bit is read in its middle; a wrong stop bit costs the byte nothing
    (most adapters hand it on all the same).
    """
    bits: list[int] = [1] * 12
    for byte in text:
        bits += [0, *((byte >> place) & 1 for place in range(8)), 1]
    bits += [1] * 24
    ratio = sent_baud / read_baud

    def level(at: float) -> int:
        place = int(at * ratio)
        return bits[place] if place < len(bits) else 1

    heard = bytearray()
    at, end = 0.0, len(bits) / ratio
    step = min(0.05, 0.2 / ratio)
    before = 1
    while at < end:
        now = level(at)
        if before == 1 and now == 0:
            heard.append(sum(level(at + 1.5 + place) << place for place in range(8)))
            at += 9.5
            before = level(at)
            continue
        before = now
        at += step
    return bytes(heard)
