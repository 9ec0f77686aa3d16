"""A workbook (xlsx) to a grid: values as its program stored them, never worked out anew; what has no value is named."""

from __future__ import annotations

import datetime
import importlib.util
import io
import warnings
import zipfile
from typing import Any

from pathway.problems import refused
from pathway.tables.grid import Cell, Grid, Row, Unreadable

MOST_UNPACKED_BYTES = 300_000_000
MOST_ROWS, MOST_COLUMNS = 50_000, 500


def grid_of_workbook(data: bytes, name: str, sheet: str | None = None) -> Grid:
    """Return one sheet of a workbook: the one named, else the first that holds anything; the others are told.

    Cells merged over several rows hold their value in each of them. Raises `Refused` for what is no workbook, for a
    sheet that is not there, and where the extra that reads workbooks is not installed.
    """
    if importlib.util.find_spec("openpyxl") is None:
        do = "install limb-pathway[xlsx], or save the table as csv"
        raise refused(name, "no reader of workbooks (openpyxl) in this installation", "one", do)
    _refuse_no_workbook(data, name)
    try:
        values, formulas = _opened(data, values=True), _opened(data, values=False)
    except Exception as error:  # whatever is wrong inside a workbook, it is no table that can be read
        found = f"a workbook that cannot be read ({type(error).__name__})"
        raise refused(name, found, "a workbook (xlsx)", "save it again in a spreadsheet program, or as csv") from error
    pages = [page for page in values.worksheets if any(cell is not None for row in _values(page) for cell in row)]
    titles = [page.title for page in pages]
    if not pages or (sheet is not None and sheet not in titles):
        found = "no sheet that holds anything" if sheet is None or not pages else f'no sheet called "{sheet}"'
        raise refused(name, found, f"one of {', '.join(titles)}" if titles else "a table", "correct the mapping")
    page = pages[0] if sheet is None else pages[titles.index(sheet)]
    if page.max_row > MOST_ROWS or page.max_column > MOST_COLUMNS:
        found = f"a sheet of {page.max_row} rows and {page.max_column} columns"
        raise refused(name, found, f"at most {MOST_ROWS} and {MOST_COLUMNS}", "delete what lies beyond the table")
    others = [title for title in titles if title != page.title]
    told = (f'The sheet "{page.title}" is read.',) if others else ()
    left = (f"Not read: {', '.join(others)} (name one as `sheet` in the mapping).",) if others else ()
    return Grid(name, _rows(page, formulas[page.title]), page.title, (*told, *left))


def _refuse_no_workbook(data: bytes, name: str) -> None:
    """Refuse what is no workbook, and one that would unpack to more than a table can be."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            size = sum(one.file_size for one in packed.infolist())
    except (zipfile.BadZipFile, ValueError, OSError) as error:
        do = "save it as xlsx (older workbooks, and those with a password, cannot be read)"
        raise refused(name, "no workbook", "a workbook (xlsx)", do) from error
    if size > MOST_UNPACKED_BYTES:
        raise refused(name, f"{size} bytes unpacked", f"at most {MOST_UNPACKED_BYTES}", "is it a table of visits?")


def _opened(data: bytes, *, values: bool) -> Any:
    import openpyxl  # noqa: PLC0415  (an extra, and only workbooks need it)

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of colours and rules for input, which no table needs
        return openpyxl.load_workbook(io.BytesIO(data), data_only=values, keep_links=False)


def _values(page: Any) -> Any:
    return page.iter_rows(
        max_row=min(page.max_row, MOST_ROWS), max_col=min(page.max_column, MOST_COLUMNS), values_only=True
    )


def _rows(page: Any, formulas: Any) -> tuple[Row, ...]:
    merged = _merged(page)
    made = []
    for number, row in enumerate(page.iter_rows(), start=1):
        cells = []
        for at, cell in enumerate(row, start=1):
            source = merged.get((number, at))
            here = cell if source is None else page.cell(*source)
            cells.append(_cell(here, formulas.cell(here.row, here.column)))
        while cells and cells[-1] is None:
            cells.pop()
        made.append(Row(number, tuple(cells)))
    return tuple(made)


def _merged(page: Any) -> dict[tuple[int, int], tuple[int, int]]:
    """Return for each cell merged into one above it where that stands; cells merged sideways stay empty."""
    return {
        (row, area.min_col): (area.min_row, area.min_col)
        for area in page.merged_cells.ranges
        for row in range(area.min_row + 1, area.max_row + 1)
    }


def _cell(cell: Any, formula: Any) -> Cell:
    value = cell.value
    if value is None:
        if formula.data_type == "f":
            return Unreadable("a formula whose value is not stored", "open and save it in a spreadsheet program")
        return None
    if cell.data_type == "e":
        return Unreadable(f"the error {value}", "correct the formula in the spreadsheet")
    if isinstance(value, bool | str):
        return value
    if isinstance(value, datetime.datetime):
        return value.date()
    if isinstance(value, datetime.date):
        return value
    if isinstance(value, int | float):
        return f"{value * 100:.12g} %" if "%" in str(cell.number_format) else float(value)
    return Unreadable(f"a time ({value})", "format the cell as a number or a date")
