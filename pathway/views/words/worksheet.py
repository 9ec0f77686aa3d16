"""A worksheet as printed text: inputs with their origin, lines, tables, cautions. Headings in words, no boxes."""

from __future__ import annotations

import datetime
import textwrap
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from pathway.views.drawings.schematic import characters
from pathway.views.words.caution import with_invented
from pathway.views.words.wrapping import wrap
from pathway.worksheets.sheet import Cell, Column, Input, Line, Section, Sheet, Table, Warning

if TYPE_CHECKING:
    from pathway.worksheets.of_plan import NotYet

NO_VALUE = "-"
LEAST_TEXT = 12
VALUE_WIDTH = 14
GAPS = ("  ", " ")
"""What stands between two columns: less where the table would not fit else."""


def worksheet_text(sheet: Sheet, width: int = 80, *, plain: bool = False, invented: str = "") -> str:
    """Return the sheet as text of at most `width` columns; `plain` uses no symbols beyond letters.

    `invented` is what is said of an invented child.
    """
    return "\n".join(line.rstrip() for line in _lines(sheet, width, plain, invented)) + "\n"


def not_yet_text(waiting: NotYet, width: int) -> str:
    """Return which stage of a plan has no sheet yet, and what it needs, in lines of at most `width` columns."""
    needs = " ".join(problem.sentence for problem in waiting.problems)
    if "--set" in needs:
        needs += " `limb-pathway worksheet` takes --set; `plan` reads what was measured."
    return "\n".join(wrap(f"No worksheet yet for {waiting.label} — {needs}", width))


def value_words(value: object, unit: str = "", places: int = 0) -> str:
    """Return a value as it is read: days in ISO, numbers with their decimals and unit, yes and no."""
    if value is None:
        return NO_VALUE
    if isinstance(value, bool):
        text = "yes" if value else "no"
    elif isinstance(value, datetime.date):
        return value.isoformat()
    elif isinstance(value, tuple):
        text = ", ".join(f"{item:g}" for item in value)
    elif isinstance(value, float):
        text = f"{value + 0.0:.{places}f}"
        text = text.lstrip("-") if not text.strip("-0.") else text
    else:
        text = str(value)
    return f"{text} {unit}".rstrip()


def _lines(sheet: Sheet, width: int, plain: bool, invented: str) -> Iterator[str]:
    opened = f" ({sheet.stage})" if sheet.stage else ""
    yield from _wrapped(f"{sheet.title}{opened}: {sheet.child}, {sheet.side} leg, on {sheet.on}", width)
    yield from _wrapped(with_invented(sheet.cautions[0], invented), width)
    yield from _wrapped(sheet.cautions[-1], width)
    yield from _warnings(sheet, width, plain)
    yield from _heading("Inputs (change one with --set name=value)")
    names = max((len(item.name) for item in sheet.inputs), default=0)
    for item in sheet.inputs:
        yield from _input(item, names, width)
    yield from _results(sheet, width, plain)


def result_lines(sheet: Sheet, width: int = 80, *, plain: bool = False, drawn: bool = True) -> tuple[str, ...]:
    """Return what the sheet works out, without its inputs: warnings, sections, drawings, cautions, sources.

    Without `drawn` drawings are told in words only.
    """
    lines = (*_warnings(sheet, width, plain), *_results(sheet, width, plain, drawn))
    return tuple(line.rstrip() for line in lines)


def origin_words(item: Input) -> str:
    """Return where the value of an input comes from."""
    return _origin(item)


def _warnings(sheet: Sheet, width: int, plain: bool) -> Iterator[str]:
    if sheet.warnings:
        yield from _heading("Take care")
        for warning in sheet.warnings:
            yield from _warning(warning, width, plain)


def _results(sheet: Sheet, width: int, plain: bool, drawn: bool = True) -> Iterator[str]:
    for section in sheet.sections:
        yield from section_lines(section, width, plain)
    if sheet.drawings:
        yield from _heading("Drawings")
        for drawing in sheet.drawings:
            yield from _wrapped(f"{drawing.title}: {drawing.alternative}", width, "  ", "    ")
            if drawn and not plain:
                yield from ("", *characters(drawing, width).split("\n"))
    yield from _heading("Cautions")
    for text in sheet.cautions:
        yield from _wrapped(text, width, "  ", "    ")
    yield from _heading("Sources")
    for source in sheet.sources:
        seen = f" ({source.seen})" if source.seen else ""
        yield from _wrapped(f"{source.id}: {source.citation}{seen}", width, "  ", "    ")


def _heading(text: str) -> Iterator[str]:
    yield ""
    yield text


def _warning(warning: Warning, width: int, plain: bool) -> Iterator[str]:
    mark = ("Outside the protocol: " if plain else "✕ ") if warning.stop else ("" if plain else "! ")
    rule = f" [{warning.rule}]" if warning.rule else ""
    yield from _wrapped(f"{mark}{warning.text}{rule}", width, "  ", "    ")


def _input(item: Input, names: int, width: int) -> Iterator[str]:
    shown = int(item.value) if item.kind == "whole" and isinstance(item.value, float) else item.value
    value = f"{shown:g} {item.unit}".rstrip() if isinstance(shown, float) else value_words(shown, item.unit)
    start = f"  {item.name:<{names}} "
    head, under = f"{start}{value:<{VALUE_WIDTH}} ", " " * (len(start) + VALUE_WIDTH + 1)
    if len(head) > len(under):
        yield head
        head = under
    yield from _wrapped(_origin(item), width, head, under)


def _origin(item: Input) -> str:
    match item.origin:
        case "visit":
            when = f" of {item.measured_on}" if item.measured_on else ""
            text = f"visit{when}, {item.method.replace('_', ' ')}".rstrip(", ")
        case "protocol":
            default = "default (local)" if item.local else "default"
            return f"{default}; {', '.join(item.sources)}" if item.sources else f"{default}; {item.note}"
        case "plan":
            text = "the plan"
        case "record":
            text = "the record"
        case "by_hand":
            text = "set by hand"
        case _:
            text = "not given" if item.value is None else "assumed"
    return f"{text}; {item.note}" if item.note else text


def section_lines(section: Section, width: int, plain: bool) -> Iterator[str]:
    """Yield one part of a sheet in lines of at most `width`; `plain` uses no symbols beyond letters."""
    yield from _heading(section.title)
    for text in section.words:
        yield from _wrapped(text, width, "  ", "    ")
    for line in section.lines:
        yield from _line(line, width, plain)
    for k, table in enumerate(section.tables):
        if section.lines or section.words or k:
            yield ""
        yield from _table(table, width, plain, own_title=table.title != section.title)


def _line(line: Line, width: int, plain: bool) -> Iterator[str]:
    mark = "" if plain else ("▶ " if line.strong else "  ")
    low, high = line.spread or (None, None)
    if line.spread is None:
        said = value_words(line.value, line.unit, line.places)
    elif line.value is None:
        between = f"{value_words(low, '', line.places)} to {value_words(high, '', line.places)}"
        said = f"{between} {line.unit}".rstrip()
    else:
        between = f"{value_words(low, '', line.places)} to {value_words(high, '', line.places)}"
        said = f"{value_words(line.value, line.unit, line.places)} ({between})"
    yield from _wrapped(f"{line.label}: {said}", width, f"  {mark}", "      ")
    if line.note:
        cited = f" [{', '.join(line.sources)}]" if line.sources else ""
        yield from _wrapped(f"{line.note}{cited}", width, "        ")


def _table(table: Table, width: int, plain: bool, *, own_title: bool) -> Iterator[str]:
    if own_title:
        yield from _wrapped(table.title, width, "  ", "    ")
    heads = [_head(column) for column in table.columns]
    cells = [[_cell(cell, column) for cell, column in zip(row, table.columns, strict=True)] for row in table.rows]
    left = [all(isinstance(row[k], str | type(None)) for row in table.rows) for k in range(len(heads))]
    mark = "    " if plain or not table.marked else "▶   "
    room = width - len(mark) - 2
    for columns in _blocks(heads, cells, room):
        block = [[row[k] for k in columns] for row in cells]
        names, flush = [heads[k] for k in columns], [left[k] for k in columns]
        widths, gap = _fitted(names, block, room)
        if columns[-1] != columns[0] and columns[1:2] != [1]:
            yield ""
        yield from _row(names, widths, flush, "  " + " " * len(mark), gap)
        for k, row in enumerate(block):
            first = mark if k in table.marked else " " * len(mark)
            yield from _row(row, widths, flush, "  " + first, gap)
    note = table.note + (f" [{', '.join(dict.fromkeys(table.sources))}]" if table.sources else "")
    if note:
        yield from _wrapped(note.strip(), width, "    ")


def _head(column: Column) -> str:
    return f"{column.title} ({column.unit})" if column.unit else column.title


def _cell(cell: Cell, column: Column) -> str:
    return value_words(cell, "", column.places)


def _blocks(heads: Sequence[str], cells: Sequence[Sequence[str]], room: int) -> Iterator[list[int]]:
    """Yield the columns that stand side by side: all of them, or where they do not fit, some below the others.

    The first column stands before each of them.
    """
    columns = list(range(len(heads)))
    while columns:
        most = len(columns)
        while most > 2:
            some = columns[:most]
            widths, gap = _fitted([heads[k] for k in some], [[row[k] for k in some] for row in cells], room)
            if _taken(widths, gap) <= room:
                break
            most -= 1
        yield columns[:most]
        columns = [columns[0], *columns[most:]] if most < len(columns) else []


def _fitted(heads: Sequence[str], cells: Sequence[Sequence[str]], room: int) -> tuple[list[int], str]:
    """Return the widths of columns and what stands between them, the widest gap with which they fit."""
    for gap in GAPS:
        widths = _widths(heads, cells, room, gap)
        if _taken(widths, gap) <= room:
            break
    return widths, gap


def _widths(heads: Sequence[str], cells: Sequence[Sequence[str]], room: int, gap: str) -> list[int]:
    """Return the column widths: as wide as head and content; where that does not fit, heads are broken first."""
    content = [max((len(row[k]) for row in cells), default=0) for k in range(len(heads))]
    least = [max(content[k], *(len(word) for word in head.split() or [""])) for k, head in enumerate(heads)]
    widths = [max(len(head), content[k]) for k, head in enumerate(heads)]
    while _taken(widths, gap) > room and any(wide > few for wide, few in zip(widths, least, strict=True)):
        spare = [wide - few for wide, few in zip(widths, least, strict=True)]
        widths[spare.index(max(spare))] -= 1
    while _taken(widths, gap) > room and max(widths) > LEAST_TEXT:
        widths[widths.index(max(widths))] -= 1
    return widths


def _taken(widths: Sequence[int], gap: str) -> int:
    return sum(widths) + len(gap) * (len(widths) - 1)


def _row(cells: Sequence[str], widths: Sequence[int], left: Sequence[bool], first: str, gap: str) -> Iterator[str]:
    # A column of nothing, such as remarks where there are none, has no width.
    parts = [textwrap.wrap(text, max(width, 1)) or [""] for text, width in zip(cells, widths, strict=True)]
    for k in range(max(len(part) for part in parts)):
        shown = [part[k] if k < len(part) else "" for part in parts]
        aligned = (
            f"{text:<{wide}}" if flush else f"{text:>{wide}}"
            for text, wide, flush in zip(shown, widths, left, strict=True)
        )
        yield (first if k == 0 else " " * len(first)) + gap.join(aligned)


def _wrapped(text: str, width: int, first: str = "", rest: str | None = None) -> list[str]:
    lines = textwrap.wrap(text, width, initial_indent=first, subsequent_indent=first if rest is None else rest)
    return lines or [first.rstrip()]
