"""What an instrument captured: levels of named channels as edges, from the lines of a VCD or CSV file.

VCD (IEEE 1364): through pyvcd; an x or z ends a level and begins none. CSV: the separator, a decimal comma, a row
of units and times before the trigger are recognised; volts are cut at half of each pulse's own plateau unless a
threshold is given."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from coincide.errors import BadInput

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

CHANNELS = (
    "gate_a1",
    "gate_a2",
    "gate_b1",
    "gate_b2",
    "sync_a",
    "sync_b",
    "full_a",
    "full_b",
    "half_a",
    "half_b",
)
SEPARATORS = (";", "\t", ",", " ")
UNITS_S = {"s": 1.0, "sec": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "μs": 1e-6, "ns": 1e-9, "ps": 1e-12}
PIECE = 200_000  # lines read at a time
STEADY = 0.02  # of the median step between samples, by which a step may differ before it is told
LAST_TICK_MOST = 2**60  # of a capture's unit of time: centuries, and what lies beyond is laid there


@dataclass(frozen=True, slots=True)
class Edges:
    """One channel: when it changed (n,), seconds, and to what (n,), 1 lit or closed."""

    at_s: Floats
    level: Ints


@dataclass(frozen=True, slots=True)
class Capture:
    """channels by our names. step_s: of the samples, or of the file's time unit."""

    channels: dict[str, Edges]
    step_s: float
    sentences: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Map:
    """theirs -> (ours, turned over)."""

    names: dict[str, tuple[str, bool]] = field(default_factory=dict)


def channel_map(text: str) -> Map:
    """From "D0=gate_a1 !D1=gate_b1"; '!' turns a channel over. Raises BadInput in a sentence."""
    found: dict[str, tuple[str, bool]] = {}
    for word in text.split():
        theirs, sign, ours = word.partition("=")
        turned = theirs.startswith("!")
        theirs = theirs.removeprefix("!")
        if not sign or not theirs or ours not in CHANNELS:
            raise BadInput(
                f"--channels: '{word}' was found; a channel of the file, '=', and one of {', '.join(CHANNELS)} "
                f"was expected, "
                "such as \"D0=gate_a1 !D1=gate_b1\" ('!' turns a channel over)."
            )
        if theirs in found or ours in [name for name, _ in found.values()]:
            raise BadInput(f"--channels: '{word}' names a channel that was named before: give each once.")
        found[theirs] = (ours, turned)
    if not found:
        raise BadInput('--channels is empty: say which channel is which, such as "D0=gate_a1 D1=gate_b1".')
    return Map(found)


def from_vcd(lines: Iterable[bytes], chosen: Map, name: str) -> Capture:
    """Edges out of a VCD. Raises BadInput in a sentence."""
    from vcd.reader import TokenKind, VCDParseError, tokenize

    codes: dict[str, list[tuple[str, bool]]] = {}
    seen: list[str] = []
    scope: list[str] = []
    unit_s, now = 1e-9, 0
    at: dict[str, list[int]] = {ours: [] for ours, _ in chosen.names.values()}
    level: dict[str, list[int]] = {ours: [] for ours in at}
    try:
        for token in tokenize(_Lines(lines)):  # type: ignore[arg-type]
            kind = token.kind
            if kind is TokenKind.TIMESCALE:
                unit_s = int(token.timescale.magnitude) * UNITS_S[token.timescale.unit.value]
            elif kind is TokenKind.SCOPE:
                scope.append(token.scope.ident)
            elif kind is TokenKind.UPSCOPE:
                scope = scope[:-1]
            elif kind is TokenKind.VAR:
                variable = token.var
                seen.append(variable.reference)
                long = ".".join([*scope, variable.reference])
                for theirs in (variable.reference, long):
                    if theirs in chosen.names and variable.size == 1:
                        codes.setdefault(variable.id_code, []).append(chosen.names[theirs])
            elif kind is TokenKind.CHANGE_TIME:
                now = min(token.time_change, LAST_TICK_MOST)
            elif kind is TokenKind.CHANGE_SCALAR and token.scalar_change.id_code in codes:
                for ours, turned in codes[token.scalar_change.id_code]:
                    # Neither x nor z is a level: it ends what was.
                    value = token.scalar_change.value
                    high = int(value == "1") if not turned else int(value == "0")
                    at[ours].append(now)
                    level[ours].append(high)
    except (VCDParseError, KeyError, ValueError, OverflowError, UnicodeDecodeError) as error:
        raise BadInput(f"{name} is no whole VCD file: {error}.") from None
    found = {one for each in codes.values() for one, _ in each}
    missing = [theirs for theirs, (ours, _) in chosen.names.items() if ours not in found]
    if missing:
        raise BadInput(
            f"{name} has no one-bit channel '{missing[0]}': it has {', '.join(dict.fromkeys(seen)) or 'none'}."
        )
    channels = {
        ours: _changes(np.array(at[ours], np.float64) * unit_s, np.array(level[ours], np.int64))
        for ours in at
    }
    return Capture(channels, unit_s, _coarse(unit_s))


class _Lines:
    """What pyvcd reads from: bytes on demand, out of lines."""

    def __init__(self, lines: Iterable[bytes]) -> None:
        self._lines = iter(lines)
        self._left = b""

    def read(self, most: int = -1) -> bytes:
        while len(self._left) < most or most < 0:
            more = next(self._lines, b"")
            if not more:
                break
            self._left += more
        size = len(self._left) if most < 0 else most
        given, self._left = self._left[:size], self._left[size:]
        return given

    def readinto(self, into: bytearray | memoryview) -> int:
        given = self.read(len(into))
        into[: len(given)] = given
        return len(given)


def _changes(at_s: Floats, level: Ints) -> Edges:
    """Only where the level changes; a first level that is high begins nothing that was seen."""
    before = np.concatenate([[0], level[:-1]]) if len(level) else level
    first_high = len(level) > 0 and level[0] == 1 and at_s[0] <= 0.0
    changed = level != before
    if first_high:
        changed[0] = False
    return Edges(at_s[changed], level[changed])


def _coarse(step_s: float) -> tuple[str, ...]:
    if step_s <= 50e-6:
        return ()
    return (
        f"The capture has one sample each {step_s * 1e6:.0f} us, coarser than 50 us: take a faster rate.",
    )


@dataclass(frozen=True, slots=True)
class _Layout:
    separator: str
    comma: bool
    names: tuple[str, ...]
    units: tuple[str, ...]
    rows_before: int


def from_csv(lines: Iterable[str], chosen: Map, name: str, threshold_v: float | None = None) -> Capture:
    """Edges out of a CSV with time in the first column. Raises BadInput in a sentence."""
    stream = iter(lines)
    head = [line for line in (next(stream, "") for _ in range(40)) if line.strip()]
    layout = _layout(head, name)
    columns = {theirs: _column(theirs, layout, name) for theirs in chosen.names}
    scale_s = UNITS_S.get(layout.units[0].lower(), 1.0) if layout.units else _unit_in(layout.names[0])
    needed = [0, *columns.values()]
    pieces = [_numbers(piece, layout, needed, name) for piece in _pieces(head[layout.rows_before :], stream)]
    table = np.concatenate(pieces) if pieces else np.zeros((0, len(needed)))
    if len(table) < 4:
        raise BadInput(f"{name} holds {len(table)} rows of numbers: more were expected.")
    at_s = table[:, 0] * scale_s
    gaps = np.diff(at_s)
    if np.any(gaps <= 0):
        row = int(np.flatnonzero(gaps <= 0)[0]) + layout.rows_before + 2
        raise BadInput(
            f"{name}: time does not go on at row {row}. Several captures in one file? Give each its own file."
        )
    step_s = float(np.median(gaps))
    channels = {}
    for at, (ours, turned) in enumerate(chosen.names.values()):
        channels[ours] = _levels(at_s, table[:, at + 1], turned, threshold_v, step_s)
    return Capture(channels, step_s, _coarse(step_s))


def _layout(head: Sequence[str], name: str) -> _Layout:
    rows = [number for number, line in enumerate(head) if re.match(r"^[\"']?\s*[-+]?[\d.,]", line)]
    numeric = next((at for at in rows if at + 1 in rows or at == len(head) - 1), None)
    if numeric is None:
        raise BadInput(
            f"{name} has no rows of numbers in its first {len(head)} lines: a CSV with time first was expected."
        )
    line = head[numeric].strip()
    separator = next((one for one in SEPARATORS if one in line), ",")
    comma = separator != "," and "," in line
    titles = [_cells(one, separator) for one in head[:numeric]]
    width = len(_cells(line, separator))
    titles = [one for one in titles if len(one) == width]
    units: tuple[str, ...] = ()
    if titles and _unit(titles[-1][0]) in UNITS_S and len(titles) > 1:
        units = tuple(_unit(one) for one in titles[-1])
        titles = titles[:-1]
    names = tuple(titles[-1]) if titles else tuple(str(at) for at in range(width))
    return _Layout(separator, comma, names, units, numeric)


def _cells(line: str, separator: str) -> list[str]:
    return [cell.strip().strip("\"'").strip() for cell in line.strip().split(separator)]


def _unit(text: str) -> str:
    return text.strip("()[] ").lower()


def _unit_in(title: str) -> float:
    found = re.search(r"[(\[]\s*([a-zµμ]+)\s*[)\]]", title.lower())
    return UNITS_S.get(found.group(1), 1.0) if found else 1.0


def _column(theirs: str, layout: _Layout, name: str) -> int:
    for at, title in enumerate(layout.names):
        if at and theirs.lower() in (title.lower(), re.sub(r"\s*[(\[].*", "", title).lower()):
            return at
    raise BadInput(f"{name} has no column '{theirs}': it has {', '.join(layout.names[1:]) or 'none'}.")


def _pieces(first: Sequence[str], stream: Iterator[str]) -> Iterator[list[str]]:
    piece = list(first)
    for line in stream:
        piece.append(line)
        if len(piece) >= PIECE:
            yield piece
            piece = []
    if piece:
        yield piece


def _numbers(piece: list[str], layout: _Layout, needed: Sequence[int], name: str) -> Floats:
    text = [line.replace('"', "") for line in piece if line.strip() and not line.startswith("#")]
    if layout.comma:
        text = [line.replace(",", ".") for line in text]
    try:
        found = np.loadtxt(
            text,
            delimiter=None if layout.separator == " " else layout.separator,
            usecols=list(needed),
            ndmin=2,
        )
    except (ValueError, IndexError) as error:
        raise BadInput(f"{name} holds something that is no number: {str(error)[:120]}.") from None
    if not np.isfinite(found).all():
        raise BadInput(f"{name} holds values that are no numbers (nan or inf): export it again.")
    return np.asarray(found, np.float64)


def _levels(at_s: Floats, volts: Floats, turned: bool, threshold_v: float | None, step_s: float) -> Edges:
    """Edges of one column, crossing between samples: of levels 0 and 1 the sample itself; of volts half of each
    pulse's own plateau."""
    signed = -volts if turned else volts
    dark, lit = (float(each) for each in np.percentile(signed, (2, 99.8)))
    lit = max(lit, float(signed.max()) - 0.2 * float(np.ptp(signed)))
    logic = set(np.unique(volts[:100_000]).tolist()) <= {0.0, 1.0}
    if lit - dark <= 0.0:
        return Edges(np.zeros(0), np.zeros(0, np.int64))
    cut = 0.5 * (dark + lit) if threshold_v is None or logic else (-threshold_v if turned else threshold_v)
    rough = signed > cut
    starts = np.flatnonzero(~rough[:-1] & rough[1:])
    ends = np.flatnonzero(rough[:-1] & ~rough[1:])
    if not len(starts) or not len(ends):
        return Edges(np.zeros(0), np.zeros(0, np.int64))
    ends = ends[ends > starts[0]]
    times: list[float] = []
    levels: list[int] = []
    for start, end in zip(starts.tolist(), ends.tolist(), strict=False):
        if logic:
            # The edge lies somewhere in the step before the sample that shows it: its middle.
            times += [float(at_s[start]) + 0.5 * step_s, float(at_s[end]) + 0.5 * step_s]
        else:
            here = cut
            if threshold_v is None:
                inner = signed[start + 1 : end + 1]
                here = 0.5 * (dark + float(np.median(inner[inner > cut])))
            times += [_crossing(at_s, signed, start, here), _crossing(at_s, signed, end, here)]
        levels += [1, 0]
    return Edges(np.array(times), np.array(levels, np.int64))


def _crossing(at_s: Floats, signed: Floats, near: int, cut: float) -> float:
    """Where the straight line between samples passes `cut`, nearest to sample `near`."""
    first, last = max(near - 200, 0), min(near + 201, len(signed))
    above = signed[first:last] > cut
    rising = signed[min(near + 1, len(signed) - 1)] > signed[near]
    passes = np.flatnonzero(~above[:-1] & above[1:]) if rising else np.flatnonzero(above[:-1] & ~above[1:])
    if not len(passes):
        return float(at_s[near])
    at = first + int(passes[np.argmin(np.abs(passes + first - near))])
    part = (cut - signed[at]) / (signed[at + 1] - signed[at])
    return float(at_s[at] + part * (at_s[at + 1] - at_s[at]))
