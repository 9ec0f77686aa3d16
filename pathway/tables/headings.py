"""The headings of a table: in which rows they stand, and the text over each column."""

from __future__ import annotations

from collections.abc import Sequence

from pathway.tables.grid import Grid, Row, is_blank, text_of

_LOOKED_AT = 12
"""Within so many rows the headings of a table stand."""


def headings_of(grid: Grid, rows: Sequence[int]) -> tuple[str, ...]:
    """Return the heading of each column; of two rows of headings the upper one goes on to the right while it is empty.

    A column without one is called by its letter, as spreadsheets do: `(column F)`.
    """
    over = [_row(grid, number) for number in rows]
    wide = max((len(row.cells) for row in grid.rows), default=0)
    made, upper = [], [""] * len(over)
    for at in range(wide):
        said = [text_of(row.cell(at)) for row in over]
        upper = [*(one or before for one, before in zip(said[:-1], upper, strict=False)), *said[-1:]]
        words = " ".join(one for n, one in enumerate(upper) if one and one not in upper[:n])
        made.append(words or f"(column {letters(at)})")
    return tuple(made)


def width_of(grid: Grid, rows: Sequence[int]) -> int:
    """Return how many cells the rows of headings have."""
    return max((len(_row(grid, number).cells) for number in rows), default=0)


def candidates(grid: Grid) -> list[tuple[int, ...]]:
    """Return the rows that could hold the headings: each of the first ones, then each with the one below it."""
    first = [row.number for row in grid.rows[:_LOOKED_AT] if sum(not is_blank(cell) for cell in row.cells) > 1]
    return [*((number,) for number in first), *((number, number + 1) for number in first if number + 1 in first)]


def letters(at: int) -> str:
    """Return the letters by which spreadsheets call a column, counted from 0."""
    name, left = "", at + 1
    while left:
        left, rest = divmod(left - 1, 26)
        name = chr(ord("A") + rest) + name
    return name


def _row(grid: Grid, number: int) -> Row:
    return next((row for row in grid.rows if row.number == number), Row(number, ()))
