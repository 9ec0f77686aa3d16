"""Which columns of a mapping a table has, and what is wrong with its headings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from pathway.tables.faults import TableFault
from pathway.tables.grid import Grid
from pathway.tables.headings import candidates, headings_of
from pathway.tables.mapping import Column, Role, TableMapping

CHILD_ID = "the child's id (pseudonym)"
_WITHOUT_DATES = frozenset(("child", "affected_side", "age_years", "finding", "not_measured"))
"""Headings that a table put out by this program has, whether or not it holds days."""
_NAMED = 6
"""So many headings that are not read are named."""


@dataclass(frozen=True, slots=True)
class Columns:
    """The columns that can be read, by heading, with every fault of the headings.

    `elsewhere`: the headings seem to stand in other rows, so that no row can be judged.
    """

    readable: Mapping[str, Column]
    faults: tuple[TableFault, ...]
    elsewhere: bool = False

    def of(self, role: Role) -> tuple[str, ...]:
        """Return the headings of the columns with a role."""
        return tuple(heading for heading, column in self.readable.items() if column.role == role)


def columns_of(grid: Grid, mapping: TableMapping) -> Columns:
    """Return which columns of a mapping a table has; faults of some do not hide what the others say."""
    headings = headings_of(grid, mapping.heading_rows)
    read = [heading for heading, column in mapping.columns.items() if column.role != "skip"]
    here = sum(heading in headings for heading in read)
    rows = max(candidates(grid), key=lambda one: _found(grid, one, read), default=mapping.heading_rows)
    if _found(grid, rows, read) > here:
        found = f"{here} of {len(read)} headings of the mapping in {_row_words(mapping.heading_rows)}"
        expected = "the rows in which the headings stand"
        do = f"they seem to stand in {_row_words(rows)}: write `heading_rows = {list(rows)}` into the mapping"
        return Columns({}, (TableFault(mapping.heading_rows[-1], "", found, expected, do),), elsewhere=True)
    return Columns(
        {
            heading: column
            for heading, column in mapping.columns.items()
            if heading in headings and (column.role == "skip" or headings.count(heading) == 1)
        },
        (*_of_headings(headings, read, mapping), *_needed(headings, mapping)),
    )


def _found(grid: Grid, rows: Sequence[int], read: Sequence[str]) -> int:
    headings = headings_of(grid, rows)
    return sum(heading in headings for heading in read)


def _row_words(rows: Sequence[int]) -> str:
    return f"row {rows[0]}" if len(rows) == 1 else f"rows {', '.join(map(str, rows[:-1]))} and {rows[-1]}"


def _of_headings(headings: Sequence[str], read: Sequence[str], mapping: TableMapping) -> Iterator[TableFault]:
    row = mapping.heading_rows[-1]
    for heading in dict.fromkeys(headings):
        if heading in read and headings.count(heading) > 1:
            yield TableFault(row, heading, "several columns with this heading", "each heading once", "rename them")
    for heading in (*read, *mapping.fill_down):
        if heading not in headings:
            found, do = "no column with this heading", "correct the mapping: headings as they stand in the table"
            yield TableFault(row, heading, found, "it", do)


def _needed(headings: Sequence[str], mapping: TableMapping) -> Iterator[TableFault]:
    columns = mapping.columns
    roles = {column.role for column in columns.values()}
    needed: list[tuple[Role, str]] = [("child", CHILD_ID), ("date", "the day of each visit")]
    needed += [("finding", "what was measured")] if mapping.long else [("measured", "a finding")]
    for role, words in needed:
        if role not in roles:
            yield TableFault(None, "", f"no column with {words}", "one", _how_to_name(role, headings, columns))
        elif role != "measured" and len(mapping.of(role)) > 1:
            second = mapping.of(role)[1]
            row = mapping.heading_rows[-1]
            yield TableFault(row, second, f"a second column with {words}", "one", "make the other `skip`")


def _how_to_name(role: Role, headings: Sequence[str], columns: Mapping[str, Column]) -> str:
    if role == "date" and set(headings) >= _WITHOUT_DATES:
        return "this table was written without --dates: write it again with --dates"
    said = '{ finding = "…" }' if role == "measured" else f'"{role}"'
    unread = [one for one in dict.fromkeys(headings) if one not in columns or columns[one].role == "skip"]
    named = ", ".join(f'"{one}"' for one in unread[:_NAMED])
    more = f" and {len(unread) - _NAMED} more" if len(unread) > _NAMED else ""
    not_read = f" (not read so far: {named}{more})" if unread else ""
    return f'say in the mapping which column it is: `"its heading" = {said}`{not_read}'
