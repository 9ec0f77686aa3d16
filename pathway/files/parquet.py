"""Rows as a Parquet file, each column with the type of its dictionary, which travels inside too, and back."""

from __future__ import annotations

import datetime
import importlib.util
import json
from collections.abc import Mapping, Sequence
from typing import Any

from pathway.files.workbook import MOST_COLUMNS, MOST_ROWS
from pathway.problems import refused
from pathway.tables.grid import Cell, Grid, Row, Unreadable
from pathway.tables.tidy.fields import Field
from pathway.tables.tidy.rows import Value


def refuse_no_writer(name: str) -> None:
    """Refuse a Parquet file where the extra that writes it is not installed."""
    if importlib.util.find_spec("pyarrow") is None:
        do = "install limb-pathway[parquet], or name a file that ends with .csv"
        raise refused(name, "no writer of Parquet (pyarrow) in this installation", "one", do)


def grid_of_parquet(data: bytes, name: str) -> Grid:
    """Return the table of a Parquet file, its column names as headings in row 1. Raises `Refused` for what is none."""
    if importlib.util.find_spec("pyarrow") is None:
        do = "install limb-pathway[parquet], or write the table as csv"
        raise refused(name, "no reader of Parquet (pyarrow) in this installation", "one", do)
    import pyarrow as pa  # noqa: PLC0415  (an extra, and only Parquet needs it)
    import pyarrow.parquet as pq  # noqa: PLC0415

    try:
        file = pq.ParquetFile(pa.BufferReader(data))
        rows, columns = file.metadata.num_rows, file.metadata.num_columns
        if rows > MOST_ROWS or columns > MOST_COLUMNS:
            expected = f"at most {MOST_ROWS} and {MOST_COLUMNS}"
            raise refused(name, f"{rows} rows and {columns} columns", expected, "split the table")
        table = file.read()
    except pa.ArrowException as error:
        raise refused(name, "no Parquet file that can be read", "one", "write it again, or as csv") from error
    held = [column.to_pylist() for column in table.columns]
    made = [tuple(table.column_names), *(tuple(map(_cell, row)) for row in zip(*held, strict=True))]
    return Grid(name, tuple(Row(number, row) for number, row in enumerate(made, start=1)))


def _cell(value: object) -> Cell:
    if value is None or isinstance(value, bool | str):
        return value
    if isinstance(value, datetime.date):
        return value.date() if isinstance(value, datetime.datetime) else value
    if isinstance(value, int | float):
        return float(value)
    return Unreadable(f"a value of the type {type(value).__name__}", "write it as a number, a word or a date")


def parquet_bytes(fields: Sequence[Field], rows: Sequence[Sequence[Value]], schema: Mapping[str, Any]) -> bytes:
    """Return rows as a Parquet file; `schema` is kept in it as `table_schema`."""
    import pyarrow as pa  # noqa: PLC0415  (an extra, and only Parquet needs it)
    import pyarrow.parquet as pq  # noqa: PLC0415

    types = {
        "string": pa.string(),
        "number": pa.float64(),
        "integer": pa.int64(),
        "boolean": pa.bool_(),
        "date": pa.date32(),
    }
    columns = [
        pa.array([None if row[at] is None else row[at] for row in rows], types[field.type])
        for at, field in enumerate(fields)
    ]
    said = {"table_schema": json.dumps(schema, ensure_ascii=False)}
    shape = pa.schema([pa.field(field.name, types[field.type]) for field in fields], metadata=said)
    out = pa.BufferOutputStream()
    pq.write_table(pa.Table.from_arrays(columns, schema=shape), out)
    return bytes(out.getvalue())
