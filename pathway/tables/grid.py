"""A table as it lies in its file: rows of cells, nothing read into them yet."""

from __future__ import annotations

import datetime
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A cell without a value that can be used; `found` says what stands there, `do` what helps."""

    found: str
    do: str


Cell = str | float | bool | datetime.date | Unreadable | None


@dataclass(frozen=True, slots=True)
class Row:
    """One row with the number that a spreadsheet shows beside it."""

    number: int
    cells: tuple[Cell, ...]

    def cell(self, at: int) -> Cell:
        """Return the cell of a column, None where the row is shorter."""
        return self.cells[at] if at < len(self.cells) else None


@dataclass(frozen=True, slots=True)
class Grid:
    """A table; `sheet` is its name in a workbook, `remarks` say what had to be found out to read its file."""

    name: str
    rows: tuple[Row, ...]
    sheet: str | None = None
    remarks: tuple[str, ...] = ()


def is_blank(cell: Cell) -> bool:
    """Return whether a cell holds nothing."""
    return cell is None or (isinstance(cell, str) and not cell.strip())


def text_of(cell: Cell) -> str:
    """Return what stands in a cell as a person reads it, on one line."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float):
        return f"{cell:.15g}"
    if isinstance(cell, datetime.date):
        return cell.isoformat()
    return cell.found if isinstance(cell, Unreadable) else " ".join(cell.split())
