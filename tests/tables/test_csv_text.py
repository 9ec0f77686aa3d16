"""A csv file as spreadsheets of several countries write it."""

from __future__ import annotations

import pytest

from pathway.problems import Refused
from pathway.tables.csv_text import grid_of_csv
from tests.tables.reading import grid_of


def cells(text: str | bytes) -> list[tuple[object, ...]]:
    data = text if isinstance(text, bytes) else text.encode()
    return [row.cells for row in grid_of_csv(data, "visits.csv").rows]


@pytest.mark.parametrize("separator", [";", "\t", ",", "|"])
def test_the_separator_is_the_one_by_which_the_rows_are_alike(separator: str) -> None:
    rows = [("id", "date", "femur, left"), ("a-1", "2024-01-02", "25,3; twice"), ("a-2", "2024-01-03", "25,4")]
    quoted = ((f'"{cell}"' for cell in row) for row in rows)
    assert cells("\n".join(separator.join(row) for row in quoted)) == rows


def test_decimal_commas_do_not_make_a_comma_the_separator() -> None:
    assert cells("id;left;right\na;25,3;26,1\nb;24,0;25,5\n")[1] == ("a", "25,3", "26,1")


def test_a_separator_that_the_file_names_itself_is_taken_and_its_row_is_counted() -> None:
    grid = grid_of("sep=|\nid|date\na|2024-01-02\n")
    assert [(row.number, row.cells) for row in grid.rows] == [(1, ()), (2, ("id", "date")), (3, ("a", "2024-01-02"))]


def test_rows_keep_the_number_that_a_spreadsheet_shows() -> None:
    grid = grid_of('id,note\n\na,"two\nlines"\nb,\n')
    assert [(row.number, row.cells) for row in grid.rows if row.cells] == [
        (1, ("id", "note")), (3, ("a", "two\nlines")), (4, ("b", "")),
    ]  # fmt: skip


def test_quoted_text_holds_separators_and_quotation_marks() -> None:
    assert cells('id,note\na,"said ""no"", twice"\n')[1] == ("a", 'said "no", twice')


def test_marks_of_byte_order_old_encodings_and_line_ends_are_read_and_told() -> None:
    assert cells("\ufeffid,date\r\na,b\r\n") == [("id", "date"), ("a", "b")]
    assert cells("id,date\ra,b\r") == [("id", "date"), ("a", "b")]
    assert cells("id,Größe\na,b\n".encode("utf-16")) == [("id", "Größe"), ("a", "b")]
    old = grid_of_csv("id;Größe\na;b\n".encode("cp1252"), "visits.csv")
    assert old.rows[0].cells == ("id", "Größe")
    assert "read as Windows-1252" in old.remarks[0]


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (b"", "no cell that holds anything"),
        (b";;;\n;;\n", "no cell that holds anything"),
        (b"id;\x81\x00\xff\n", "text that is neither UTF-8 nor Windows-1252"),
        (b"\xff\xfea", "broken UTF-16"),
        (b"PK\x03\x04\x00\x00a,b\n", "bytes that are no text"),
        (b'id,note\na,"' + b"x" * 200_000 + b'"\n', "a row that cannot be read"),
    ],
)
def test_what_is_no_table_is_refused(data: bytes, found: str) -> None:
    with pytest.raises(Refused, match=found):
        grid_of_csv(data, "visits.csv")
