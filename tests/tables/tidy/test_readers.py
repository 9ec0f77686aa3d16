"""Tables open in other readers, by their dictionary: SQLite with its constraints, and Arrow with its types."""

from __future__ import annotations

import csv
import datetime
import io
import sqlite3

import pytest

from pathway.files.parquet import parquet_bytes
from pathway.protocol.load import load_protocol
from pathway.tables.tidy.csv_out import csv_text
from pathway.tables.tidy.dictionary import dictionary
from pathway.tables.tidy.fields import KINDS, fields_of
from pathway.tables.tidy.rows import Value, rows_of_child
from pathway.views.words.caution import CAUTION
from tests.tables.tidy.made import accepted, of_name

SQL = {"string": "TEXT", "number": "REAL", "integer": "INTEGER", "boolean": "TEXT", "date": "TEXT"}


def whole(kind) -> tuple[str, dict, list[tuple[Value, ...]]]:
    children = (of_name("hazel-08"), of_name("rowan-02", accepted("rowan-02")))
    rows = [row for child in children for row in rows_of_child(kind, child, dates=True)]
    schema = dictionary(kind, load_protocol(), dates=True, caution=CAUTION)
    return csv_text([field.name for field in fields_of(kind, dates=True)], rows), schema, rows


def column(field: dict) -> str:
    """Return a column of SQL that allows what the dictionary allows."""
    limits, name = field.get("constraints", {}), field["name"]
    checks = ["NOT NULL"] if limits.get("required") else []
    if "enum" in limits:
        words = ", ".join(f"'{word}'" for word in limits["enum"])
        checks.append(f'CHECK ("{name}" IN ({words}))')
    if "minimum" in limits:
        checks.append(f'CHECK ("{name}" >= {limits["minimum"]})')
    return f'"{name}" {SQL[field["type"]]} {" ".join(checks)}'


@pytest.mark.parametrize("kind", KINDS)
def test_sqlite_takes_every_row_under_the_constraints_of_the_dictionary(kind) -> None:
    text, schema, rows = whole(kind)
    unique = [f"UNIQUE ({', '.join(key)})" for key in schema.get("uniqueKeys", [])]
    with sqlite3.connect(":memory:") as db:
        db.execute(f"CREATE TABLE t ({', '.join([*map(column, schema['fields']), *unique])})")
        marks = ", ".join("?" for _ in schema["fields"])
        reader = csv.reader(io.StringIO(text))
        assert next(reader) == [field["name"] for field in schema["fields"]]
        db.executemany(f"INSERT INTO t VALUES ({marks})", [[cell or None for cell in row] for row in reader])
        assert db.execute("SELECT count(*) FROM t").fetchone() == (len(rows),)
        with pytest.raises(sqlite3.IntegrityError):
            db.execute("UPDATE t SET sex = 'unknown'")
    db.close()


@pytest.mark.parametrize("kind", KINDS)
def test_arrow_reads_the_csv_with_the_types_of_the_dictionary(kind) -> None:
    pa = pytest.importorskip("pyarrow", reason="the extra parquet is not installed here")
    arrow_csv = pytest.importorskip("pyarrow.csv")
    text, schema, rows = whole(kind)
    types = {"string": pa.string(), "number": pa.float64(), "integer": pa.int64(), "boolean": pa.bool_()}
    wanted = {field["name"]: types.get(field["type"], pa.date32()) for field in schema["fields"]}
    options = arrow_csv.ConvertOptions(column_types=wanted, null_values=[""], strings_can_be_null=True)
    read = arrow_csv.read_csv(io.BytesIO(text.encode()), convert_options=options)
    assert [tuple(row.values()) for row in read.to_pylist()] == [tuple(map(near, row)) for row in rows]


@pytest.mark.parametrize("kind", KINDS)
def test_parquet_holds_the_same_rows_and_the_dictionary(kind) -> None:
    pq = pytest.importorskip("pyarrow.parquet", reason="the extra parquet is not installed here")
    _, schema, rows = whole(kind)
    read = pq.read_table(io.BytesIO(parquet_bytes(fields_of(kind, dates=True), rows, schema)))
    assert [tuple(row.values()) for row in read.to_pylist()] == rows
    assert b"tableschema.json" in read.schema.metadata[b"table_schema"]


def near(value: Value) -> object:
    """Return a value as it comes back from text: whole numbers of a column of numbers are those numbers."""
    if isinstance(value, float):
        return pytest.approx(value)
    return datetime.date(value.year, value.month, value.day) if isinstance(value, datetime.date) else value
