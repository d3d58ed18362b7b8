"""The pocket card for the camera bag: one leaf of A6, what to set in front, lights and cautions on the back."""

from __future__ import annotations

from pathlib import Path

from coincide.durable import write_outputs
from coincide.report.card.content import CardBody, CardContent
from coincide.report.card.sheet import Sheet, Type, both_pages, side_by_side
from coincide.report.plots.palette import (
    ACCENT,
    BODY_COLOUR,
    CARD_FAINT,
    CARD_PAPER,
    CARD_RULE,
    CAUTION,
    CAUTION_EDGE,
    DOUBT,
    PAPER,
)

WIDTH_MM, HEIGHT_MM = 105.0, 148.0
EDGE_MM = 6.0
INSIDE_MM = WIDTH_MM - 2 * EDGE_MM
PAD_MM = 2.4

KICKER = Type(8.0, bold=True, colour=CARD_FAINT)
LABEL = Type(8.4, colour=CARD_FAINT)
NUMBER = Type(21.0, bold=True)
NAME = Type(8.6, bold=True)
SETTING = Type(12.0, bold=True)
TEXT = Type(8.0)
SMALL = Type(8.0, colour=CARD_FAINT)
HEAD = Type(10.4, bold=True, serif=True)
COLUMN = Type(8.0, bold=True, colour=CARD_FAINT)
ALARM = Type(8.0, bold=True, colour=DOUBT)
ROW_MM = TEXT.line_mm + 0.6
# What the table of subjects takes with one subject in it.
LEAST_LIMITS_MM = 0.8 + HEAD.line_mm + 0.2 + 3 * SMALL.line_mm + 0.7 + COLUMN.line_mm + 0.3 + ROW_MM


def card_sheets(content: CardContent) -> tuple[Sheet, Sheet]:
    """Front: settings from the top, and as many limits as fit below. Back: lights, cautions, what it rests on."""
    front = Sheet(WIDTH_MM, HEIGHT_MM, CARD_PAPER)
    top = _bodies(front, _delay(front, _kicker(front, EDGE_MM - 0.8, content), content), content)
    bottom = HEIGHT_MM - EDGE_MM
    top = _pairs(front, top, bottom - LEAST_LIMITS_MM, content)
    _limits(front, top, bottom, content)
    back = Sheet(WIDTH_MM, HEIGHT_MM, CARD_PAPER)
    at = _lights(back, _kicker(back, EDGE_MM - 0.8, content), content)
    _cautions(back, at, content)
    _foot(back, HEIGHT_MM - EDGE_MM + 1.0, content)
    return front, back


def write_card(content: CardContent, folder: Path) -> list[Path]:
    """`card.pdf` (two pages) and `card.png` (both sides) in a folder that is there. Returns the paths."""
    sheets = card_sheets(content)
    return write_outputs({folder / "card.pdf": both_pages(sheets), folder / "card.png": side_by_side(sheets)})


def _kicker(sheet: Sheet, y: float, content: CardContent) -> float:
    if content.invented:
        sheet.line(WIDTH_MM - EDGE_MM, y, "simulated rig, invented data", SMALL, "right")
    name = sheet.cut(content.kicker.upper(), INSIDE_MM - (47.0 if content.invented else 0.0), KICKER)
    return sheet.line(EDGE_MM, y, name, KICKER) + 1.0


def _delay(sheet: Sheet, y: float, content: CardContent) -> float:
    height = 20.4 + (ALARM.line_mm if content.warning else 0.0)
    sheet.box(EDGE_MM, y, INSIDE_MM, height, PAPER, CARD_RULE)
    sheet.bar(EDGE_MM, y, INSIDE_MM, 1.1, ACCENT)
    x, inside = EDGE_MM + PAD_MM, INSIDE_MM - 2 * PAD_MM
    at = sheet.line(x, y + 2.6, sheet.cut(content.delay_label, inside, LABEL), LABEL)
    at = sheet.line(x, at + 0.3, content.delay, NUMBER) - 0.9
    at = sheet.line(x, at, sheet.cut(content.delay_note, inside, LABEL), LABEL)
    if content.warning:
        sheet.line(x, at, content.warning, ALARM)
    return y + height + 2.0


def _bodies(sheet: Sheet, y: float, content: CardContent) -> float:
    width = (INSIDE_MM - 3.0) / 2
    inside = width - 2 * PAD_MM
    lines = [_body_lines(sheet, body, inside) for body in content.bodies]
    height = 2.2 + NAME.line_mm + SETTING.line_mm + 0.6 + max(map(len, lines)) * TEXT.line_mm + 0.9
    for index, body in enumerate(content.bodies):
        x = EDGE_MM + index * (width + 3.0)
        sheet.box(x, y, width, height, PAPER, CARD_RULE)
        sheet.bar(x, y, width, 1.1, BODY_COLOUR[index])
        face = Type(NAME.size, bold=True, colour=BODY_COLOUR[index])
        at = sheet.line(x + PAD_MM, y + 2.2, sheet.cut(f"{'AB'[index]}  {body.name}", inside, face), face)
        at = sheet.line(x + PAD_MM, at, sheet.cut(body.setting, inside, SETTING), SETTING) + 0.6
        for line in lines[index]:
            at = sheet.line(x + PAD_MM, at, line, TEXT)
    return y + height + 1.6


def _pairs(sheet: Sheet, y: float, bottom: float, content: CardContent) -> float:
    """The calibrated pairs and the light each is right for, as many as fit: what the meter says chooses the pair."""
    places = (EDGE_MM, EDGE_MM + 0.36 * INSIDE_MM, EDGE_MM + 0.68 * INSIDE_MM)
    for x, column in zip(places, ("calibrated pair", "delay", "right for, EV 100"), strict=True):
        sheet.line(x, y, column, COLUMN)
    y += COLUMN.line_mm
    for row in content.pairs:
        if y + TEXT.line_mm > bottom:
            break
        for x, cell in zip(places, row, strict=True):
            sheet.line(x, y, sheet.cut(cell, 0.31 * INSIDE_MM, TEXT), TEXT)
        y += TEXT.line_mm
    return y + 0.8


def _body_lines(sheet: Sheet, body: CardBody, width: float) -> list[str]:
    return [line for text in body.lines for line in sheet.wrapped(text, width, TEXT)]


def _limits(sheet: Sheet, top: float, bottom: float, content: CardContent) -> None:
    y = sheet.line(EDGE_MM, top, "What it can photograph", HEAD) + 0.2
    y = sheet.paragraph(EDGE_MM, y, content.limits_note, INSIDE_MM, SMALL) + 0.7
    rights = [EDGE_MM + INSIDE_MM - 17.3 * at for at in range(len(content.columns) - 1)][::-1]
    name_width = rights[0] - 11.0 - EDGE_MM
    for at, column in enumerate(content.columns):
        if at == 0:
            sheet.line(EDGE_MM, y, column, COLUMN)
        else:
            sheet.line(rights[at - 1], y, column, COLUMN, "right")
    y += COLUMN.line_mm + 0.3
    for row in content.rows:
        if y + ROW_MM > bottom:
            break
        sheet.rule(EDGE_MM, y, INSIDE_MM, CARD_RULE)
        sheet.line(EDGE_MM, y + 0.45, sheet.cut(row[0], name_width, TEXT), TEXT)
        for right, cell in zip(rights, row[1:], strict=True):
            sheet.line(right, y + 0.45, cell, TEXT, "right")
        y += ROW_MM


def _lights(sheet: Sheet, y: float, content: CardContent) -> float:
    """Returns where the next part begins."""
    y = sheet.line(EDGE_MM, y, "The box's lights, after each pair", HEAD) + 0.6
    for text in content.lights:
        seen, means = text.split(": ", 1)
        y = sheet.line(EDGE_MM, y, sheet.cut(seen, INSIDE_MM, NAME), NAME)
        y = sheet.paragraph(EDGE_MM + PAD_MM, y, means, INSIDE_MM - PAD_MM, TEXT) + 0.7
    return y + 1.6


def _cautions(sheet: Sheet, y: float, content: CardContent) -> None:
    inside = INSIDE_MM - 2 * PAD_MM - 2.6
    lines = [sheet.wrapped(caution, inside, TEXT) for caution in content.cautions]
    height = sum(len(one) for one in lines) * TEXT.line_mm + 0.5 * (len(lines) - 1) + 3.0
    sheet.box(EDGE_MM, y, INSIDE_MM, height, CAUTION, CAUTION_EDGE)
    sheet.bar(EDGE_MM, y, 1.2, height, CAUTION_EDGE)
    at = y + 1.5
    for one in lines:
        sheet.line(EDGE_MM + PAD_MM, at, "•", TEXT)
        for line in one:
            at = sheet.line(EDGE_MM + PAD_MM + 2.4, at, line, TEXT)
        at += 0.5


def _foot(sheet: Sheet, bottom: float, content: CardContent) -> None:
    """Set upwards from `bottom`."""
    lines = [line for text in content.foot for line in sheet.wrapped(text, INSIDE_MM, SMALL)]
    at = bottom - len(lines) * SMALL.line_mm
    for line in lines:
        at = sheet.line(EDGE_MM, at, line, SMALL)
