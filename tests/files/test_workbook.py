"""A workbook read as its program stored it: values of formulas, merged cells, days; what has no value is named."""

from __future__ import annotations

import datetime
import io
import zipfile
from pathlib import Path

import pytest

from pathway.files import workbook
from pathway.files.tables import is_table, read_grid
from pathway.files.workbook import grid_of_workbook
from pathway.problems import Refused
from pathway.tables.grid import Unreadable
from tests.tables.workbooks import one_sheet, saved

openpyxl = pytest.importorskip("openpyxl", reason="the extra xlsx is not installed here")


def cells(book, stored=None) -> list[tuple]:
    return [row.cells for row in grid_of_workbook(saved(book, stored), "visits.xlsx").rows]


def refusal(data: bytes, sheet: str | None = None) -> str:
    with pytest.raises(Refused) as caught:
        grid_of_workbook(data, "visits.xlsx", sheet)
    return str(caught.value)


def test_numbers_days_words_and_flags_are_what_they_are() -> None:
    day = datetime.datetime(2024, 3, 5, 9, 30)
    book = one_sheet(("a", 12, 12.5, True, day, datetime.date(2024, 3, 6), None, "x"))
    assert cells(book) == [("a", 12.0, 12.5, True, datetime.date(2024, 3, 5), datetime.date(2024, 3, 6), None, "x")]


def test_a_formula_has_the_value_that_was_stored_and_without_one_it_is_named() -> None:
    book = one_sheet(("a", "=1+1", "=2+2"))
    assert cells(book, {"B1": "2"}) == [
        ("a", 2.0, Unreadable("a formula whose value is not stored", "open and save it in a spreadsheet program"))
    ]


def test_an_error_and_a_time_are_named() -> None:
    book = one_sheet(("a", "#REF!", datetime.time(9, 30)))
    book.active["B1"].data_type = "e"
    _, error, time = cells(book)[0]
    assert error == Unreadable("the error #REF!", "correct the formula in the spreadsheet")
    assert isinstance(time, Unreadable)


def test_a_percentage_is_what_is_shown() -> None:
    book = one_sheet((0.25,))
    book.active["A1"].number_format = "0%"
    assert cells(book) == [("25 %",)]


def test_cells_merged_downwards_hold_their_value_and_those_merged_sideways_stay_empty() -> None:
    book = one_sheet(("a", "b", "wide", None), (None, "c", 1, 2))
    book.active.merge_cells("A1:A2")
    book.active.merge_cells("C1:D1")
    assert cells(book) == [("a", "b", "wide"), ("a", "c", 1.0, 2.0)]


def test_the_first_sheet_that_holds_anything_is_read_or_the_one_that_is_named() -> None:
    book = openpyxl.Workbook()
    book.active.title = "Empty"
    book.create_sheet("First").append(["1"])
    book.create_sheet("Second").append(["2"])
    data = saved(book)
    assert grid_of_workbook(data, "x").sheet == "First"
    assert grid_of_workbook(data, "x", "Second").rows[0].cells == ("2",)
    assert 'found no sheet called "Third", expected one of First, Second' in refusal(data, "Third")


def test_what_is_no_workbook_is_refused() -> None:
    assert "found no workbook, expected a workbook (xlsx)" in refusal(b"id,date\n")
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as made:
        made.writestr("a.txt", "text")
    assert "found a workbook that cannot be read" in refusal(packed.getvalue())
    assert "found no sheet that holds anything" in refusal(saved(openpyxl.Workbook()))


def test_a_workbook_that_unpacks_to_too_much_or_has_too_many_rows_is_refused(monkeypatch) -> None:
    data = saved(one_sheet(("a",), ("b",)))
    monkeypatch.setattr(workbook, "MOST_ROWS", 1)
    assert "found a sheet of 2 rows and 1 columns" in refusal(data)
    monkeypatch.setattr(workbook, "MOST_UNPACKED_BYTES", 100)
    assert "bytes unpacked, expected at most 100" in refusal(data)


def test_without_the_extra_it_is_said_how_to_go_on(monkeypatch) -> None:
    monkeypatch.setattr(workbook.importlib.util, "find_spec", lambda name: None)
    assert "install limb-pathway[xlsx], or save the table as csv" in refusal(b"")


def test_a_table_is_known_by_its_ending_and_read_as_what_it_is(tmp_path: Path) -> None:
    file = tmp_path / "visits.XLSX"
    file.write_bytes(saved(one_sheet(("a", "b"))))
    assert read_grid(file).rows[0].cells == ("a", "b")
    text = tmp_path / "visits.csv"
    text.write_text("a;b\n", encoding="utf-8")
    assert read_grid(text).rows[0].cells == ("a", "b")
    assert [is_table(Path(name)) for name in ("a.csv", "a.toml", "a.json", "a.xls")] == [True, False, False, True]
    with pytest.raises(Refused, match=r"found a file of \.xls, expected csv or xlsx"):
        read_grid(tmp_path / "old.xls")
