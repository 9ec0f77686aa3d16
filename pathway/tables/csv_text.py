"""Bytes of a csv file to a grid: its encoding and what separates its columns are found out, and told."""

from __future__ import annotations

import codecs
import csv
import re
from collections import Counter
from collections.abc import Iterable

from pathway.problems import Problem, Refused, refused
from pathway.tables.grid import Grid, Row

SEPARATORS = {";": "semicolons", "\t": "tabs", ",": "commas", "|": "bars"}
_UTF_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_NAMED = re.compile(r"sep=(.)\n", re.IGNORECASE)


def grid_of_csv(data: bytes, name: str) -> Grid:
    """Return the table of a csv file; `name` opens each fault. Raises `Refused` for what is no table of text.

    The text may be UTF-8 (with or without its mark), UTF-16 with its mark, or Windows-1252, which is told. Columns are
    separated by semicolons, tabs, commas or bars, whichever gives most rows the same number of them.
    """
    text, told = _decoded(data, name)
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if "\0" in text:
        raise refused(name, "bytes that are no text", "a table as csv, or as xlsx with that ending", "export it again")
    named = _NAMED.match(text)
    separator = named[1] if named else _separator(text, name)
    rows = _rows(text, separator, name)
    if named:
        rows[0] = []
    if not any(cell.strip() for row in rows for cell in row):
        raise refused(name, "no cell that holds anything", "a table with headings", "export it again")
    made = tuple(Row(number, tuple(row)) for number, row in enumerate(rows, start=1))
    return Grid(name, made, remarks=(*told, f"Columns are separated by {SEPARATORS.get(separator, repr(separator))}."))


def _decoded(data: bytes, name: str) -> tuple[str, tuple[str, ...]]:
    if data.startswith(_UTF_16):
        try:
            return data.decode("utf-16"), ("The text was read as UTF-16.",)
        except UnicodeDecodeError as error:
            raise refused(name, "broken UTF-16", "text in UTF-8", "save it again as UTF-8") from error
    try:
        return data.decode("utf-8-sig"), ()
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        try:
            told = f"The text is not UTF-8 (row {line}): it was read as Windows-1252. Check letters beyond a to z."
            return data.decode("cp1252"), (told,)
        except UnicodeDecodeError:
            found, expected = "text that is neither UTF-8 nor Windows-1252", "a table in UTF-8"
            raise Refused(Problem(name, "", line, found, expected, "save it again as UTF-8")) from error


def _separator(text: str, name: str) -> str:
    """Return the separator by which most rows have as many columns as each other, and more than one."""

    def agreeing(separator: str) -> tuple[float, int]:
        widths = Counter(len(row) for row in _rows(text, separator, name) if any(cell.strip() for cell in row))
        several = {width: count for width, count in widths.items() if width > 1}
        if not several:
            return 0.0, 0
        width = max(several, key=lambda one: (several[one], one))
        return several[width] / widths.total(), width

    return max(SEPARATORS, key=agreeing)


def _rows(text: str, separator: str, name: str) -> list[list[str]]:
    reader = csv.reader(_lines(text), delimiter=separator, strict=False)
    try:
        return list(reader)
    except csv.Error as error:
        found, do = f"a row that cannot be read ({error})", "look for a quotation mark that is not closed"
        raise Refused(Problem(name, "", reader.line_num, found, "rows of cells", do)) from error


def _lines(text: str) -> Iterable[str]:
    return (f"{line}\n" for line in text.removesuffix("\n").split("\n"))
