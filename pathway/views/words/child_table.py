"""The list of children laid out: in columns of two or three lines a child, on a phone below each other; nothing is cut.

The screen paints what the verb `children` prints.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from pathway.questions.urgency import Order
from pathway.views.words.children import NOT_YET, ORDER_WORDS, Row, no_match
from pathway.views.words.due import DueRow
from pathway.views.words.firmness import MARK, WORD
from pathway.views.words.wrapping import wrap

Part = Literal["mark", "name", "plain", "stage", "day", "last", "needs", "alarm", "quiet"]
"""What a piece of text is: a screen gives each its colour."""
COLUMNS, FIVE_COLUMNS, ROOMY = 60, 96, 150
"""From these widths on: columns; a fifth for acceptance and the difference; wider gaps between them."""
OVERDUE_MARK, ACCEPTED_MARK, CHANGED_MARK, UNSAVED_MARK = "!", "✓", "(✓)", "✎"
ACCEPTED_LEGEND = (f"{ACCEPTED_MARK} accepted", f"{CHANGED_MARK} changed since")
DAY = 10
DAYS_COLUMN = 2
WHO = 2 + DAY + 2
"""Where the child stands on the list of what is due."""
MOST = 114
"""Of both columns of text together: what stands apart further than that is not read as one line."""
LEAST, LEAST_WHAT = 24, 20


class Piece(NamedTuple):
    """A piece of one line: where it begins, its text, what it is."""

    at: int
    text: str
    part: Part


class Column(NamedTuple):
    """A column: the two lines of its head, where it begins, how wide it is, the order that it stands for."""

    head: tuple[str, str]
    at: int
    width: int
    order: Order


@dataclass(frozen=True, slots=True)
class Layout:
    """How wide a list is, its columns (none on a phone), and whether acceptance is told."""

    width: int
    columns: tuple[Column, ...]
    accepted: bool


Lines = tuple[tuple[Piece, ...], ...]
_Fact = tuple[str, Part]


def layout_of(width: int, *, accepted: bool) -> Layout:
    """Return how a list is laid out in a width."""
    if width < COLUMNS:
        return Layout(max(width, LEAST), (), accepted)
    heads: list[tuple[tuple[str, str], int, Order]] = [
        (("Child, age", "diagnosis"), 0, "name"),
        (("Next stage", "what is due first"), 0, "stage"),
        (("On", "by"), DAY, "stage"),
        (("Last day", "of what"), 13, "last"),
    ]
    if width >= FIVE_COLUMNS:
        told = ("Accepted", "left at maturity") if accepted else ("Difference", "at maturity")
        heads.append((told, 16 if accepted else 11, "urgency"))
    gap = 2 if width >= ROOMY else 1
    room = min(width - 2 - sum(size for _, size, _ in heads) - gap * (len(heads) - 1), MOST)
    child = min(max(room * 45 // 100, 22), 38) if width >= FIVE_COLUMNS else 22
    sizes = [child, room - child, *(size for _, size, _ in heads[2:])]
    columns, at = [], 2
    for (head, _, order), size in zip(heads, sizes, strict=True):
        columns.append(Column(head, at, size, order))
        at += size + gap
    return Layout(width, tuple(columns), accepted)


def head_lines(of: Layout, order: Order) -> Lines:
    """Return the head of the list; the column that it is ordered by is marked."""
    if not of.columns:
        marks = [f"{OVERDUE_MARK} overdue", f"{MARK} {WORD}", *(ACCEPTED_LEGEND if of.accepted else ())]
        text = f"{order_words(order)[0].upper()}{order_words(order)[1:]}. {', '.join(marks)}"
        return tuple((Piece(2, line, "quiet"),) for line in wrap(text, of.width - 2))
    named = next((column for column in of.columns if column.order == order != "urgency"), None)
    first = tuple(Piece(c.at, c.head[0] + (" ▾" if c is named else ""), "name") for c in of.columns)
    return first, tuple(Piece(c.at, c.head[1], "quiet") for c in of.columns if c.head[1])


def lines_of(row: Row, of: Layout) -> Lines:
    """Return the lines of a child."""
    return _on_phone(row, of) if not of.columns else _in_columns(row, of)


def due_head(of: Layout, longest: int) -> Lines:
    """Return the head of the list of what is due; `longest` is the length of the longest name."""
    if not of.columns:
        return ((Piece(2, "By, child, what", "quiet"),),)
    return ((Piece(2, "By", "name"), Piece(WHO, "Child", "name"), Piece(WHO + longest + 2, "What", "name")),)


def due_lines(row: DueRow, of: Layout, longest: int) -> Lines:
    """Return the lines of one thing that is due: by when, who, what."""
    part: Part = "alarm" if row.overdue else "plain"
    width = of.width
    if not of.columns:
        below = ((Piece(2, text, part),) for text in wrap(row.what, width - 2))
        return ((*_mark(row.overdue), Piece(2, row.by, "day"), Piece(14, row.name, "name")), *below)
    texts = wrap(row.what, max(width - WHO - longest - 2, LEAST_WHAT))
    pieces = [(Piece(WHO + longest + 2, text, part),) for text in texts]
    first = (*_mark(row.overdue), Piece(2, row.by, "day"), Piece(WHO, row.name, "name"), *pieces[0])
    return (first, *pieces[1:])


def plain_lines(lines: Lines) -> Iterator[str]:
    """Yield lines as text."""
    for pieces in lines:
        text = ""
        for piece in pieces:
            text = f"{text:<{piece.at}}{piece.text}"
        yield text


def children_printed(
    rows: Sequence[Row], count: int, on: datetime.date, caution: str, width: int, order: Order, find: str = ""
) -> Iterator[str]:
    """Yield the list of children as it is printed, in an order."""
    shown = f"{len(rows)} of {count}" if len(rows) != count else str(count)
    yield f"Children: {shown}, {order_words(order)}, planned as of {on}"
    yield from wrap(caution, width)
    yield ""
    if not rows:
        yield from wrap(no_match(find, "Leave out --find to list all.", accepted=False), width)
        return
    of = layout_of(width, accepted=any(row.accepted for row in rows))
    yield from plain_lines(head_lines(of, order))
    for row in rows:
        yield from plain_lines(lines_of(row, of))


def order_words(order: Order) -> str:
    """Return an order in words."""
    return ORDER_WORDS[order]


def _mark(overdue: bool) -> tuple[Piece, ...]:
    return (Piece(0, OVERDUE_MARK, "alarm"),) if overdue else ()


def _named(row: Row) -> str:
    return f"{row.name}{f' {UNSAVED_MARK}' if row.unsaved else ''}{f', {row.age}' if row.age else ''}"


def _in_columns(row: Row, of: Layout) -> Lines:
    """Return a child in columns: of each the first fact, below it the second."""
    needs: Part = "alarm" if row.overdue else "needs"
    cells: list[tuple[_Fact, ...]] = [
        ((_named(row), "name"), (row.diagnosis, "plain")),
        ((row.following, "stage"), (row.needs, needs)),
        ((row.when, "day"), (row.needs_by, needs)),
        ((row.last, "last"), (row.last_what, "quiet")),
    ]
    if len(of.columns) == len(cells):
        cells[-1] = (*cells[-1], (_acceptance(row), "quiet"))
    else:
        cells.append(((row.accepted or row.difference, "plain"), (row.difference if row.accepted else "", "quiet")))
    apart = [[_wrapped(text, column.width) for text, _ in cell] for cell, column in zip(cells, of.columns, strict=True)]
    rows: dict[int, list[Piece]] = {0: list(_mark(row.overdue))}
    for number, (cell, column, texts) in enumerate(zip(cells, of.columns, apart, strict=True)):
        # What is due first and the day by which begin on one line, below the stage and its day.
        first = len(apart[1][0]) if number == DAYS_COLUMN else len(texts[0])
        at = 0
        for place, ((_, part), lines) in enumerate(zip(cell, texts, strict=True)):
            at = max(at, first, 1) if place == 1 else at
            for line in lines:
                rows.setdefault(at, []).append(Piece(column.at, line, part))
                at += 1
    return tuple(tuple(rows.get(at, ())) for at in range(max(rows) + 1))


def _on_phone(row: Row, of: Layout) -> Lines:
    """Return a child below each other: who and the last day, the next stage, what is due first."""
    mark = CHANGED_MARK if row.accepted.endswith("changed since") else ACCEPTED_MARK
    accepted = f" {mark}" if row.accepted not in ("", NOT_YET) else ""
    stage = row.following.replace(f"({MARK} {WORD})", MARK)
    last = f"last {row.last}" if row.last else ""
    who = f"{_named(row)}{accepted}"
    at = of.width - len(last)
    lines: list[tuple[Piece, ...]] = []
    told: list[tuple[str, Part]] = [(f"{row.when} {stage}".strip(), "stage")]
    if row.needs_short:
        short = row.needs_short.replace(": ", " ", 1).replace(" more)", ")")
        told.append((f"{row.needs_by} {short}", "alarm" if row.overdue else "needs"))
    if last and 2 + len(who) < at:
        lines.append((Piece(2, who, "name"), Piece(at, last, "last")))
    else:
        lines += [(Piece(2, text, "name"),) for text in _wrapped(who, of.width - 2)]
        told += [(last, "last")] if last else []
    lines += [(Piece(2, line, part),) for text, part in told for line in _wrapped(text, of.width - 2)]
    return ((*_mark(row.overdue), *lines[0]), *lines[1:])


def _acceptance(row: Row) -> str:
    if not row.accepted:
        return ""
    return "not accepted" if row.accepted == NOT_YET else f"accepted {row.accepted}"


def _wrapped(text: str, width: int) -> list[str]:
    return wrap(text, width) if text else []
