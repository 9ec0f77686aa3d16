"""Rows as csv: UTF-8, commas, a decimal point, days as year-month-day, nothing for what is not known."""

from __future__ import annotations

import csv
import datetime
from collections.abc import Iterable, Sequence

from pathway.tables.tidy.rows import Value


class _Text:
    """What `csv` writes into."""

    def __init__(self) -> None:
        self.parts: list[str] = []

    def write(self, part: str) -> int:
        """Keep a part."""
        self.parts.append(part)
        return len(part)


def csv_text(names: Sequence[str], rows: Iterable[Sequence[Value]]) -> str:
    """Return rows below their heading as csv."""
    text = _Text()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(names)
    writer.writerows([_written(value) for value in row] for row in rows)
    return "".join(text.parts)


def _written(value: Value) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        said = f"{value:.15g}"
        whole, point, part = said.partition(".")
        # Three digits behind a point may be read as thousands where a comma is the decimal sign.
        return f"{whole}.{part}0" if point and len(part) == 3 else said
    return value.isoformat() if isinstance(value, datetime.date) else str(value)
