"""The tables and the worked example of docs/wire.md and docs/field.md, made from the firmware itself.

`python -m tests.firmware.doc_tables` writes them into the pages; a test compares.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from coincide_firmware.app import frame_words, framelog, messages, settings, wire
from coincide_firmware.app.error_words import ERRORS
from coincide_firmware.app.event_words import EVENTS
from coincide_firmware.app.light_words import PATTERNS
from tests.firmware.app.stand_in import Bench, two_bodies

ROOT = Path(__file__).parents[2]
PAGES = (ROOT / "docs" / "wire.md", ROOT / "docs" / "field.md")


def _commented(block: str, module: str = "messages") -> dict[str, str]:
    """What the module says above (or beside) each entry of a tuple or dict, by the entry's name."""
    source = (ROOT / "firmware" / "app" / f"{module}.py").read_text(encoding="utf-8")
    body = re.search(rf"^{block} = [({{]\n(.*?)^[)}}]", source, re.DOTALL | re.MULTILINE)
    assert body is not None
    found: dict[str, str] = {}
    said: list[str] = []
    for line in body.group(1).splitlines():
        text = line.strip()
        if text.startswith("#"):
            said.append(text[1:].strip())
            continue
        entry = re.match(r'"(\w+)"(?:: \(|,)\s*(?:.*?#\s*(.*))?', text)
        if entry is not None and line.startswith('    "'):
            found[entry.group(1)] = " ".join(said) or entry.group(2) or ""
            said = []
    return found


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def _number(value: int | None) -> str:
    if value is None:
        return "must be given"
    return f"{value:,}".replace(",", " ")


def _table(head: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += ["| " + " | ".join(_cell(cell) for cell in row) + " |" for row in rows]
    return "\n".join(lines)


def requests() -> str:
    """One row a verb."""
    said = _commented("REQUESTS")
    rows = []
    for verb in messages.REQUESTS:
        fields = ", ".join(f"`{row[0]}`" for row in messages.REQUESTS[verb]) or "none"
        rows.append((f"`{verb}`", fields, said[verb]))
    return _table(("verb", "fields", "what it asks"), rows)


def fields() -> str:
    """One row a field of a verb."""
    rows = [
        (f"`{verb}`", f"`{name}`", _number(least), _number(most), _number(default))
        for verb, declared in messages.REQUESTS.items()
        for name, least, most, default in declared
    ]
    return _table(("verb", "field", "least", "most", "when left out"), rows)


def events() -> str:
    """One row a kind of event."""
    said = _commented("EVENTS", "event_words")
    return _table(("`is`", "what it carries"), [(f"`{kind}`", said[kind]) for kind in EVENTS])


def errors() -> str:
    """One row an error code."""
    return _table(("`error`", "in a sentence"), [(f"`{code}`", say) for code, say in ERRORS.items()])


def refusals() -> str:
    """Limits of the line."""
    return _table(
        ("limit", "value"),
        [
            ("bytes of a line, newline not counted", _number(wire.MAX_LINE_BYTES)),
            ("opening brackets and braces in a line", _number(wire.MAX_BRACKETS)),
            ("silence of the host that disarms, ms", _number(messages.SILENCE_MS)),
        ],
    )


def stored() -> str:
    """The settings."""
    rows = [
        (f"`{name}`", _number(least), _number(most), _number(default))
        for name, least, most, default in settings.VALUES
    ]
    return _table(("setting", "least", "most", "default"), rows)


def presets() -> str:
    """What a preset holds."""
    rows = [("`name`", "1 letter", f"{settings.NAME_MOST} letters", "must be given")]
    rows += [
        (f"`{name}`", _number(least), _number(most), _number(default))
        for name, least, most, default in settings.PRESET_VALUES
    ]
    return _table(("value", "least", "most", "default"), rows)


def lights() -> str:
    """What the LEDs say."""
    return _table(("pattern", "means", "seen"), [(f"`{row[0]}`", row[1], row[2]) for row in PATTERNS])


def log_size() -> str:
    """The frame log in figures."""
    return _table(
        ("frame log", "value"),
        [
            ("entries it holds", _number(framelog.CAPACITY)),
            ("bytes of an entry", _number(framelog.SLOT_BYTES)),
            ("entries of a segment", _number(framelog.ENTRIES_A_SEGMENT)),
            ("segments it holds", _number(framelog.SEGMENTS)),
            ("files that take turns", _number(framelog.FILES)),
        ],
    )


def log_fields() -> str:
    """The order of an entry."""
    return (
        "`["
        + ", ".join(frame_words.FRAME_FIELDS)
        + "]`\n\nverdict: "
        + ", ".join(f"{number} = `{name}`" for number, name in enumerate(messages.FRAME_VERDICTS))
    )


def example() -> str:
    """One pair, as the bytes that cross the wire between a host and a box on a stand-in board."""
    bench = Bench()
    two_bodies(bench)
    lines: list[str] = []

    def host(verb: str, **given: int) -> None:
        request = wire.encode({"id": len(lines) + 1, "do": verb, **given})
        lines.append("host  " + request.decode().rstrip("\n"))
        bench.board.arrive(request)

    def box(ms: int) -> None:
        end = bench.board.now + ms * bench.board.tick_hz // 1000
        while bench.board.now < end:
            bench.board.idle(bench.box.step())
        said = bytes(bench.board.sent).decode().splitlines()
        bench.board.sent = bytearray()
        lines.extend("box   " + line for line in said)

    host("arm", timeout_ms=10000)
    box(50)
    host("fire", shot=1, delay_a_ns=5000000)
    box(1700)
    host("ack", upto=2)
    box(50)
    return "```text\n" + "\n".join(line.replace("\t", "  <tab>  ") for line in lines) + "\n```"


MADE = {
    "requests": requests,
    "fields": fields,
    "events": events,
    "errors": errors,
    "limits": refusals,
    "settings": stored,
    "presets": presets,
    "lights": lights,
    "log-size": log_size,
    "log-fields": log_fields,
    "example": example,
}


def filled(page: str) -> str:
    """A page with every marked place filled anew."""

    def fill(found: re.Match[str]) -> str:
        return f"<!-- made: {found.group(1)} -->\n\n{MADE[found.group(1)]()}\n\n<!-- end -->"

    return re.sub(r"<!-- made: ([\w-]+) -->.*?<!-- end -->", fill, page, flags=re.DOTALL)


if __name__ == "__main__":
    for path in PAGES:
        path.write_text(filled(path.read_text(encoding="utf-8")), encoding="utf-8")
