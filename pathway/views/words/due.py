"""What is due in words, item by item: the verb `registry due` prints it and the list of children shows it."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from pathway.questions.due import Due, due

MONTHS_AHEAD = 12
"""How far lists look ahead for what a child needs."""
NOTHING = f"Nothing is needed in the next {MONTHS_AHEAD} months."


@dataclass(frozen=True, slots=True)
class DueRow:
    """What the list says of one thing that is due: the child, the day by which, what, and whether it is overdue."""

    name: str
    by: str
    what: str
    overdue: bool
    words: str


def due_rows(asked: Iterable[tuple[str, Mapping[str, Any]]], on: datetime.date, months: int) -> tuple[DueRow, ...]:
    """Return what children with these summaries need until so many months after a day, as `registry due` lists it."""
    items = [item for name, summary in asked for item in due(name, summary, on, months)]
    items.sort(key=lambda item: (item.by, item.child, item.what))
    return tuple(due_row(item) for item in items)


def due_row(item: Due) -> DueRow:
    """Return the row of one thing that is due."""
    what = due_words(item)
    return DueRow(item.child, str(item.by), what, item.overdue, f"{item.child} {item.by} {what}".lower())


def due_words(item: Due) -> str:
    """Return what a child needs, as the verb `registry due` prints it and the list shows it."""
    return f"{item.what}{' (overdue)' if item.overdue else ''}"
