"""Workbooks as a spreadsheet program saves them: the value of a formula stored beside it."""

from __future__ import annotations

import datetime
import io
import re
import zipfile
from typing import Any


def saved(book: Any, stored: dict[str, str] | None = None) -> bytes:
    """Return the bytes of a workbook; `stored` are the values of formulas of its first sheet, by cell."""
    out = io.BytesIO()
    book.save(out)
    if not stored:
        return out.getvalue()
    again = io.BytesIO()
    with zipfile.ZipFile(out) as packed, zipfile.ZipFile(again, "w", zipfile.ZIP_DEFLATED) as new:
        for name in packed.namelist():
            data = packed.read(name)
            if name.endswith("sheet1.xml"):
                text = data.decode()
                for cell, value in stored.items():
                    text, count = re.subn(
                        rf'(<c r="{cell}"[^>]*><f>[^<]*</f>)<v ?/?>(</v>)?', rf"\g<1><v>{value}</v>", text
                    )
                    assert count == 1, (cell, text)
                data = text.encode()
            new.writestr(name, data)
    return again.getvalue()


def one_sheet(*rows: tuple[object, ...], title: str = "Visits") -> Any:
    """Return a workbook with one sheet."""
    import openpyxl

    book = openpyxl.Workbook()
    page = book.active
    page.title = title
    for row in rows:
        page.append(row)
    return book


def two_heading_rows() -> bytes:
    """Return a workbook whose headings stand in two rows, with merged cells, a formula, dates and a second sheet."""
    born, method = datetime.date(2015, 7, 9), "standing film"
    card = ("Glen 3", born, "m", "right", "congenital femoral deficiency")
    book = one_sheet(
        ("Invented children of the clinic at the glen",),
        ("Patient", "Date of birth", "Sex", "Affected side", "Diagnosis", "Visit date", "Method",
         "Femur (mm)", None, "Tibia (cm)", None),
        (None, None, None, None, None, None, None, "Left", "Right", "Left", "Right"),
        (*card, datetime.datetime(2022, 3, 4, 9, 30), method, 312, "=250+37.5", 25.5, 23.1),
        (None, None, None, None, None, datetime.date(2023, 3, 10), method, 338.0, 310, 27.5, 24.9),
    )  # fmt: skip
    page = book.active
    page.merge_cells("H2:I2")
    page.merge_cells("J2:K2")
    for column in "ABCDE":
        page.merge_cells(f"{column}4:{column}5")
    book.create_sheet("Notes").append(["not a table"])
    return saved(book, {"I4": "287.5"})
