"""What one cell says: a number with or without a decimal comma and a unit, a day, a word. Exact: no rounding."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from pathway.protocol.units import factor_of
from pathway.tables.grid import Cell, Unreadable, text_of
from pathway.tables.words import MONTHS, folded

DateOrder = Literal["day-month-year", "month-day-year", "year-month-day"]
DecimalSign = Literal[",", "."]
ORDERS: tuple[DateOrder, ...] = ("day-month-year", "month-day-year", "year-month-day")
_NUMBER = re.compile(r"([+-]?)(\d[\d.,]*)\s*((?:[^\W\d]|[%°]).*)?")
_FIRST_YEAR = re.compile(r"(\d{4})([-/.])(\d{1,2})\2(\d{1,2})(?:[T ]\d{1,2}:\d{2}.*)?")
_LAST_YEAR = re.compile(r"(\d{1,2})([-/.]) ?(\d{1,2})\2 ?(\d{2}|\d{4})(?: \d{1,2}:\d{2}.*)?")
_NAMED_MONTH = re.compile(r"(\d{1,2})[.\- ]{1,2}([^\W\d]+)\.?[\- ](\d{4})")
_SERIAL = re.compile(r"\d{5}")


@dataclass(frozen=True, slots=True)
class CellFault:
    """Why a cell cannot be used: what was expected, what to do; `found` where its text alone says too little.

    `of_column`: the same is wrong with every such cell of the column, whatever stands in it.
    """

    expected: str
    do: str
    found: str = ""
    of_column: bool = False


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number as written, with the unit that stands behind it in the cell, "" where none does."""

    number: Decimal
    unit: str = ""


def quantity_of(cell: Cell, decimal: DecimalSign | None) -> Quantity | CellFault:
    """Return the number of a cell. With `decimal` None a number that can be read in two ways is a fault."""
    if isinstance(cell, Unreadable):
        return CellFault("a number", cell.do)
    if isinstance(cell, bool | datetime.date):
        return CellFault("a number", "format the cell as a number")
    if isinstance(cell, float):
        return Quantity(Decimal(text_of(cell)))
    text = text_of(cell).replace("\u2212", "-").replace("\u00a0", " ")
    found = _NUMBER.fullmatch(text)
    if found is None:
        return CellFault("a number", "write the number as measured, or leave the cell empty")
    sign, digits, unit = found[1], found[2], (found[3] or "").strip()
    plain = _plain_digits(digits, decimal)
    return Quantity(Decimal(sign + plain), unit) if isinstance(plain, str) else plain


def _plain_digits(digits: str, decimal: DecimalSign | None) -> str | CellFault:
    """Return digits with a decimal point alone; a sign before three digits may be of thousands."""
    if digits.isdigit():
        return digits
    thousands = re.fullmatch(r"[1-9]\d{0,2}(?:([.,])\d{3})(?:\1\d{3})*(?:(?!\1)[.,]\d+)?", digits)
    simple = re.fullmatch(r"\d+([.,])\d+", digits)
    if decimal is not None:
        other = "." if decimal == "," else ","
        if simple and simple[1] == decimal:
            return digits.replace(decimal, ".")
        if thousands and thousands[1] == other:
            return digits.replace(other, "").replace(decimal, ".")
        return CellFault(f"a number with a decimal {_sign_name(decimal)}", "write it like the other rows")
    if simple and not (thousands and simple[0] == thousands[0]):
        return digits.replace(",", ".")
    if thousands and len(set(re.findall(r"[.,]", digits))) == 2:
        return digits.replace(thousands[1], "").replace(",", ".")
    if thousands:
        do = 'say which in the mapping: `decimal = ","` or `decimal = "."`'
        return CellFault("a number that can be read in one way", do, f"{digits}, a part or thousands", True)
    return CellFault("a number", "write the number as measured")


def decimal_sign(cells: Iterable[Cell]) -> DecimalSign | None:
    """Return the decimal sign that the numbers of a table settle by themselves, None where they settle none."""
    seen: set[str] = set()
    for cell in cells:
        found = _NUMBER.fullmatch(text_of(cell)) if isinstance(cell, str) else None
        simple = re.fullmatch(r"(\d+)([.,])(\d+)", found[2]) if found else None
        if simple and (len(simple[3]) != 3 or simple[1].startswith("0") or len(simple[1]) > 3):
            seen.add(simple[2])
    return "," if seen == {","} else "." if seen == {"."} else None


def _sign_name(sign: str) -> str:
    return "comma" if sign == "," else "point"


def in_unit(quantity: Quantity, wanted: str, column: str | None) -> float | CellFault:
    """Return a number in the unit of its finding; `column` is the unit of its column, None where none was named."""
    if quantity.unit and column is not None and factor_of(wanted, quantity.unit) != factor_of(wanted, column):
        return CellFault(f"a number in {column}, as the column says", "write it in the unit of the column")
    unit = quantity.unit or column or wanted
    factor = factor_of(wanted, unit)
    if factor is None:
        return CellFault(f"a number in {wanted or 'no unit'}", f"the unit {unit!r} does not go with it: correct it")
    return float(quantity.number * factor)


def day_of(cell: Cell, order: DateOrder | None) -> datetime.date | CellFault:
    """Return the day of a cell. With `order` None a date that can be read in two ways is a fault."""
    if isinstance(cell, datetime.date):
        return cell
    expected, do = "a date", "write it as year-month-day, such as 2024-03-20"
    if isinstance(cell, Unreadable):
        return CellFault(expected, cell.do)
    text = text_of(cell)
    if _SERIAL.fullmatch(text):
        return CellFault(expected, "format the cell as a date in the spreadsheet, and export it again")
    if found := _FIRST_YEAR.fullmatch(text):
        return _day(int(found[1]), int(found[3]), int(found[4]), expected)
    if (found := _NAMED_MONTH.fullmatch(text)) and folded(found[2])[:3] in MONTHS:
        return _day(int(found[3]), MONTHS[folded(found[2])[:3]], int(found[1]), expected)
    found = _LAST_YEAR.fullmatch(text)
    if found is None:
        return CellFault(expected, do)
    if len(found[4]) == 2:
        return CellFault("a date with a year of four digits", do)
    first, second, year = int(found[1]), int(found[3]), int(found[4])
    if order == "year-month-day":
        return CellFault("a date as year, month, day", do)
    if order is None and first != second:
        do = f"say which: --date-order {ORDERS[0]} or --date-order {ORDERS[1]}, or `date_order` in the mapping"
        found_words = f"{text}, whose order of day and month is not known"
        return CellFault("a date that can be read in one way", do, found_words, True)
    day, month = (second, first) if order == "month-day-year" else (first, second)
    return _day(year, month, day, f"a date as {order}" if order else expected)


def _day(year: int, month: int, day: int, expected: str) -> datetime.date | CellFault:
    try:
        return datetime.date(year, month, day)
    except ValueError:
        return CellFault(expected, "correct day, month and year")


def date_order(cells: Iterable[Cell]) -> DateOrder | Literal["either", "both"] | None:
    """Return the order of day and month that the dates of one column settle.

    None where no date needs an order, "either" where some do and none settles it, "both" where they contradict.
    """
    needed, seen = False, set[DateOrder]()
    for cell in cells:
        found = _LAST_YEAR.fullmatch(text_of(cell)) if isinstance(cell, str) else None
        if found is None:
            continue
        first, second = int(found[1]), int(found[3])
        needed = needed or first != second
        if first > 12 >= second:
            seen.add("day-month-year")
        if second > 12 >= first:
            seen.add("month-day-year")
    if len(seen) == 2:
        return "both"
    return seen.pop() if seen else "either" if needed else None
