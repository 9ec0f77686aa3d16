"""A document as lines of a terminal, for a screen or printed: numbers in a column, tables, sketches in dots."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from pathway.views.documents.document import (
    Block,
    Bullets,
    Callout,
    Document,
    Figure,
    Heading,
    Paragraph,
    Readings,
    Table,
)
from pathway.views.drawings.schematic import characters
from pathway.views.pictures.picture import Role
from pathway.views.words import paragraphs
from pathway.worksheets.sheet import Drawing

Said = paragraphs.Paragraph
GAP, ABREAST, MOST_NAME, LEAST_SMALL = 2, 150, 28, 14
MOST_LINES = 5
"""A table with a cell of more lines than this is told row by row."""


def document_lines(
    document: Document,
    width: int,
    sketches: Sequence[Drawing] = (),
    rows: int = 40,
    *,
    plain: bool = False,
    framed: bool = False,
) -> Iterator[Said]:
    """Yield a document as lines of at most `width` columns; figures are left out.

    `sketches` stand at its end, each at most `rows` high; if `plain` they are told in words. `framed`: where title and
    caution stand already, so that the numbers come first.
    """
    blocks = list(document.blocks)
    if framed:
        blocks = _numbers_first(blocks)
    else:
        yield Said(document.title, heading=True, fixed=True)
        yield from _wrapped(document.subtitle, width, role=Role.LEGEND)
    for block in blocks:
        yield from _block(block, width)
    for sketch in sketches:
        yield _empty()
        yield Said(sketch.title, heading=True, fixed=True)
        yield from _wrapped(sketch.alternative, width, role=Role.LEGEND)
        if not plain:
            for line in characters(sketch, width, rows).split("\n"):
                yield Said(line, role=Role.MEDIAN, fixed=True)
    yield _empty()
    yield from _wrapped(document.footer, width, role=Role.LEGEND)


def document_text(document: Document, width: int, sketches: Sequence[Drawing] = (), *, plain: bool = False) -> str:
    """Return a document as text for a terminal of `width` columns."""
    lines = document_lines(document, width, sketches, plain=plain)
    return "\n".join(line.text.rstrip() for line in lines) + "\n"


def _numbers_first(blocks: list[Block]) -> list[Block]:
    """Return the blocks with the cautions, which have no title, behind the numbers that they speak of."""
    place = next((k for k, block in enumerate(blocks) if isinstance(block, Readings)), None)
    if place is None:
        return blocks
    first = [block for block in blocks[:place] if isinstance(block, Callout) and not block.title]
    return [*(block for block in blocks[:place] if block not in first), blocks[place], *first, *blocks[place + 1 :]]


def _empty() -> Said:
    return Said("", fixed=True)


def _wrapped(
    text: str, width: int, first: str = "", rest: str = "", *, role: Role = Role.TEXT, heading: bool = False
) -> Iterator[Said]:
    for line in textwrap.wrap(text, width, initial_indent=first, subsequent_indent=rest or first):
        yield Said(line, role=role, heading=heading, fixed=True)


def _block(block: Block, width: int) -> Iterator[Said]:
    match block:
        case Heading(text):
            yield _empty()
            yield from _wrapped(text, width, heading=True)
        case Paragraph(text, tone):
            role = {"lead": Role.STAGE_BLOCKED, "small": Role.LEGEND}.get(tone, Role.TEXT)
            yield from _wrapped(text, width, role=role)
        case Bullets():
            for line in block.lines:
                yield from _wrapped(line, width, "- ", "  ")
        case Callout(title, lines):
            if title:
                yield _empty()
            yield from _wrapped(title, width, role=Role.STAGE_BLOCKED, heading=True)
            for line in lines:
                yield from _wrapped(line, width, "! ", "  ", role=Role.STAGE_READY)
        case Readings(readings):
            yield from _readings(readings, width)
        case Table():
            yield from _table(block, width)
        case Figure():
            return
        case _:
            raise TypeError(type(block).__name__)


def _readings(readings: Sequence[tuple[str, str, str]], width: int) -> Iterator[Said]:
    """One line each, the numbers under each other; two abreast where there is width for it, down and then over."""
    abreast = 2 if width >= ABREAST else 1
    room = (width - GAP * (abreast - 1)) // abreast
    cells = [_reading(one, readings, room) for one in readings]
    rows = -(-len(cells) // abreast)
    for row in range(rows):
        beside = [cells[place] for place in range(row, len(cells), rows)]
        for k in range(max(map(len, beside))):
            line = (" " * GAP).join(f"{cell[k] if k < len(cell) else '':<{room}}" for cell in beside)
            yield Said(line.rstrip(), heading=k == 0, fixed=True)
    yield _empty()


def _reading(one: tuple[str, str, str], readings: Sequence[tuple[str, str, str]], room: int) -> list[str]:
    label, value, small = one
    shown = [reading[1].partition(" ") for reading in readings]
    # The digits stand under each other, whatever unit and way stand behind them.
    digits, units = (max(len(parts[k]) for parts in shown) for k in (0, 2))
    names, numbers = max(len(reading[0]) for reading in readings), digits + 1 + units
    figure, _, unit = value.partition(" ")
    names = min(names, MOST_NAME, room - numbers - 2 * GAP - LEAST_SMALL)
    told = textwrap.wrap(label, names)
    words = textwrap.wrap(small, room - names - numbers - 2 * GAP) or [""]
    lines = []
    for k in range(max(len(told), len(words))):
        number = f"{figure:>{digits}} {unit}" if k == 0 else ""
        parts = (told[k] if k < len(told) else "", number, words[k] if k < len(words) else "")
        lines.append(f"{parts[0]:<{names}}{' ' * GAP}{parts[1]:<{numbers}}{' ' * GAP}{parts[2]}")
    return lines


def _table(table: Table, width: int) -> Iterator[Said]:
    widths = _widths(table, width - GAP * (len(table.shares) - 1))
    cells = [[textwrap.wrap(text, wide) or [""] for text, wide in zip(row, widths, strict=False)] for row in table.rows]
    if not widths or max((len(cell) for row in cells for cell in row), default=0) > MOST_LINES:
        yield from _row_by_row(table, width)
        return
    head = [textwrap.wrap(text, wide) or [""] for text, wide in zip(table.head, widths, strict=True)]
    for number, row in enumerate([head, *cells]):
        for k in range(max(map(len, row))):
            line = (" " * GAP).join(
                f"{cell[k] if k < len(cell) else '':<{wide}}" for cell, wide in zip(row, widths, strict=True)
            )
            yield Said(line.rstrip(), role=Role.LEGEND if number == 0 else Role.TEXT, fixed=True)


def _widths(table: Table, room: int) -> list[int]:
    """Return how wide each column is: its share, and no word broken; [] where there is no room for that."""
    columns = list(zip(table.head, *table.rows, strict=True))
    least = [max((len(word) for text in column for word in text.split()), default=1) for column in columns]
    if sum(least) > room:
        return []
    widths = [max(few, room * share // sum(table.shares)) for few, share in zip(least, table.shares, strict=True)]
    while sum(widths) > room:
        spare = [wide - few for wide, few in zip(widths, least, strict=True)]
        widths[spare.index(max(spare))] -= 1
    return widths


def _row_by_row(table: Table, width: int) -> Iterator[Said]:
    for row in table.rows:
        # A number without a heading of its own leads its row.
        lead = 2 if not table.head[0] and len(row) > 1 else 1
        yield from _wrapped(" ".join(row[:lead]), width, "", "   ", heading=True)
        for name, text in zip(table.head[lead:], row[lead:], strict=True):
            if text:
                yield from _wrapped(f"{name}: {text}", width, "   ", "     ")
