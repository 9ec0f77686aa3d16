"""What a column that is not known could be, by its heading or by what stands in it: told, and never taken for it."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date

from pathway.protocol.model import Protocol
from pathway.tables.columns import CHILD_ID
from pathway.tables.grid import Cell, is_blank, text_of
from pathway.tables.mapping import Column, Role
from pathway.tables.values import day_of
from pathway.tables.vocabulary import Vocabulary
from pathway.tables.words import HEADINGS, NAMES, folded

_NEEDED: Mapping[str, str] = {
    "child": CHILD_ID,
    "date": "the day of the visit",
    "birth_date": "the date of birth",
    "sex": "the sex",
    "affected_side": "the affected side",
    "diagnosis": "the diagnosis",
    "side": "the side",
    "method": "how it was measured",
}
"""What a table must say somewhere, in words."""
_TABLES: Mapping[str, tuple[str, ...]] = {
    "methods": ("method",),
    "sides": ("side", "affected_side"),
    "sexes": ("sex",),
    "diagnoses": ("diagnosis",),
}
_NEAR, _SHORTEST = 0.8, 5


def likely_columns(
    columns: Mapping[str, Column], cells: Mapping[str, Sequence[Cell]], phrases: Iterable[str], protocol: Protocol
) -> list[str]:
    """Return a sentence for each column that is not read and looks like something a table must say."""
    taken: set[str] = {column.role for column in columns.values()}
    measured = [column for column in columns.values() if column.role == "measured"]
    if measured and all(column.side is not None for column in measured):
        taken.add("side")
    findings = tuple(phrases)
    told = []
    for heading, column in columns.items():
        if column.role != "skip" or folded(heading) in NAMES or all(map(is_blank, cells[heading])):
            continue
        role = _by_cells(cells[heading], taken, protocol) or _by_name(heading, taken)
        if role is not None:
            taken.add(role)
            line = f'`"{heading}" = "{role}"`'
            told.append(
                f'"{heading}" is not read. If it is {_NEEDED[role]}, write {line} under [columns] of a mapping.'
            )
        elif near := difflib.get_close_matches(folded(heading), findings, 1, _NEAR):
            line = f'`"{heading}" = {{ finding = "…" }}`'
            told.append(f'"{heading}" is not read. If it is {near[0]}, write {line} under [columns] of a mapping.')
    return told


def _by_cells(cells: Sequence[Cell], taken: set[str], protocol: Protocol) -> Role | None:
    """Return what most of the cells of a column are words for."""
    filled = [cell for cell in cells if not is_blank(cell)]
    words = Vocabulary(protocol, {})

    def mostly(fits: Callable[[Cell], bool]) -> bool:
        return 2 * sum(map(fits, filled)) > len(filled)

    for table, roles in _TABLES.items():
        free = [role for role in roles if role not in taken]
        if free and mostly(lambda cell, table=table: words.meant(table, text_of(cell)) is not None):  # type: ignore[misc]
            return _role(free[0])
    for role in ("date", "birth_date"):
        if role not in taken and mostly(lambda cell: isinstance(day_of(cell, "day-month-year"), date)):
            return _role(role)
    return None


def _by_name(heading: str, taken: set[str]) -> Role | None:
    """Return what a heading nearly says."""
    whole = folded(heading)
    words = {word: role for word, role in HEADINGS.items() if role in _NEEDED and role not in taken}
    near = difflib.get_close_matches(whole, words, 1, _NEAR)
    inside = [word for word in words if len(word) >= _SHORTEST and word in whole]
    return _role(words[near[0] if near else max(inside, key=len)]) if near or inside else None


def _role(name: str) -> Role:
    role: Role = next(role for role in _ROLES if role == name)
    return role


_ROLES: tuple[Role, ...] = ("child", "date", "birth_date", "sex", "affected_side", "diagnosis", "side", "method")
