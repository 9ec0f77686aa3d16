"""A clinic's table and its mapping, read by the one way in."""

from __future__ import annotations

from pathlib import Path

from pathway.files.parquet import grid_of_parquet
from pathway.files.reading import read_bytes, read_text
from pathway.files.workbook import grid_of_workbook
from pathway.problems import refused
from pathway.tables.csv_text import grid_of_csv
from pathway.tables.grid import Grid

MOST_BYTES, MOST_MAPPING_BYTES = 30_000_000, 1_000_000
TEXT, WORKBOOK, PARQUET = (".csv", ".tsv"), (".xlsx", ".xlsm"), (".parquet",)
"""By their endings tables are told from case files and histories."""


def is_table(file: Path) -> bool:
    """Return whether a file is called like a table."""
    return file.suffix.lower() in (*TEXT, *WORKBOOK, *PARQUET, ".xls", ".ods")


def read_grid(file: Path, sheet: str | None = None) -> Grid:
    """Return the table of a csv, xlsx or Parquet file. Refuses what the one way in refuses, and what is no table."""
    if file.suffix.lower() not in (*TEXT, *WORKBOOK, *PARQUET):
        raise refused(str(file), f"a file of {file.suffix}", "csv or xlsx", "save it as one of them")
    data = read_bytes(file, "a table (csv, xlsx or parquet)", MOST_BYTES)
    if file.suffix.lower() in WORKBOOK:
        return grid_of_workbook(data, str(file), sheet)
    if file.suffix.lower() in PARQUET:
        return grid_of_parquet(data, str(file))
    return grid_of_csv(data, str(file))


def read_mapping(file: Path) -> str:
    """Return the text of a mapping."""
    return read_text(file, "a mapping (TOML)", MOST_MAPPING_BYTES, bom=True)
