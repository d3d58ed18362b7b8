"""The pages on the wire and on field use say what the firmware does."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from coincide_firmware.app.event_words import EVENTS
from coincide_firmware.app.messages import REQUESTS
from coincide_firmware.app.wire import encode
from tests.firmware import doc_tables


@pytest.mark.parametrize("path", doc_tables.PAGES, ids=lambda path: path.name)
def test_the_page_is_up_to_date(path: Path) -> None:
    page = path.read_text(encoding="utf-8")
    assert page == doc_tables.filled(page), "run: python -m tests.firmware.doc_tables"


def test_every_verb_and_event_is_explained() -> None:
    for text in (doc_tables.requests(), doc_tables.events()):
        for line in text.splitlines()[2:]:
            assert not re.search(r"\|\s*\|", line), line
    assert len(doc_tables.requests().splitlines()) == 2 + len(REQUESTS)
    assert len(doc_tables.events().splitlines()) == 2 + len(EVENTS)


def test_the_example_line_has_the_right_checksum() -> None:
    page = doc_tables.PAGES[0].read_text(encoding="utf-8")
    line = encode({"id": 1, "do": "status"}).decode()
    assert line.replace("\t", "<tab>").replace("\n", "<newline>") in page
