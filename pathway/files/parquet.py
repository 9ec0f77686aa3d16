"""Rows as a Parquet file, each column with the type of its dictionary, which travels inside too."""

from __future__ import annotations

import importlib.util
import json
from collections.abc import Mapping, Sequence
from typing import Any

from pathway.problems import refused
from pathway.tables.tidy.fields import Field
from pathway.tables.tidy.rows import Value


def refuse_no_writer(name: str) -> None:
    """Refuse a Parquet file where the extra that writes it is not installed."""
    if importlib.util.find_spec("pyarrow") is None:
        do = "install limb-pathway[parquet], or name a file that ends with .csv"
        raise refused(name, "no writer of Parquet (pyarrow) in this installation", "one", do)


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
