"""One cell: numbers with either decimal sign, days in either order, and what can be read in two ways."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pathway.tables.grid import Unreadable
from pathway.tables.values import CellFault, Quantity, date_order, day_of, decimal_sign, in_unit, quantity_of


@pytest.mark.parametrize(
    ("text", "decimal", "number", "unit"),
    [
        ("253", None, "253", ""),
        ("25,3", None, "25.3", ""),
        ("25.3", None, "25.3", ""),
        ("-3,5", ",", "-3.5", ""),
        ("\u22123.5", None, "-3.5", ""),
        ("0,125", None, "0.125", ""),
        ("1.234,5", None, "1234.5", ""),
        ("1,234.5", None, "1234.5", ""),
        ("1.234", ",", "1234", ""),
        ("1,234", ",", "1.234", ""),
        ("1,234", ".", "1234", ""),
        ("25,3 cm", None, "25.3", "cm"),
        ("25°", None, "25", "°"),
        (253.0, ",", "253", ""),
        (27.1, None, "27.1", ""),
    ],
)
def test_a_number_is_what_was_written(text, decimal, number, unit) -> None:
    assert quantity_of(text, decimal) == Quantity(Decimal(number), unit)


@pytest.mark.parametrize(
    ("cell", "decimal", "expected"),
    [
        ("1,234", None, "a number that can be read in one way"),
        ("1.234.567", None, "a number that can be read in one way"),
        ("25.3", ",", "a number with a decimal comma"),
        ("25,3", ".", "a number with a decimal point"),
        ("25-30", None, "a number"),
        ("about 25", None, "a number"),
        ("1,2,3", None, "a number"),
        ("25/26", None, "a number"),
        (True, None, "a number"),
        (datetime.date(2024, 3, 1), None, "a number"),
        (Unreadable("the error #REF!", "correct the formula"), None, "a number"),
    ],
)
def test_what_is_no_number_or_could_be_two_is_a_fault(cell, decimal, expected) -> None:
    made = quantity_of(cell, decimal)
    assert isinstance(made, CellFault)
    assert made.expected == expected


@given(st.decimals(min_value=0, max_value=9999, places=2))
def test_a_number_with_two_digits_behind_the_sign_is_the_same_with_comma_and_point(number) -> None:
    for text in (f"{number}", f"{number}".replace(".", ",")):
        assert quantity_of(text, None) == Quantity(number)


@given(st.integers(min_value=0, max_value=99999))
def test_centimetres_become_millimetres_without_a_rounding_error(tenths) -> None:
    written = f"{tenths // 10},{tenths % 10}"
    made = quantity_of(written, ",")
    assert isinstance(made, Quantity)
    assert in_unit(made, "mm", "cm") == float(tenths)


def test_a_unit_in_the_cell_counts_and_one_against_its_column_is_a_fault() -> None:
    assert in_unit(Quantity(Decimal("25.3"), "cm"), "mm", None) == 253
    assert in_unit(Quantity(Decimal(253), "mm"), "mm", "mm") == 253
    assert in_unit(Quantity(Decimal("3500"), "g"), "kg", None) == 3.5
    assert isinstance(in_unit(Quantity(Decimal(25), "cm"), "mm", "mm"), CellFault)
    assert isinstance(in_unit(Quantity(Decimal(25), "cm"), "deg", None), CellFault)


@pytest.mark.parametrize(
    ("text", "order", "day"),
    [
        ("2024-03-05", None, (2024, 3, 5)),
        ("2024/3/5", None, (2024, 3, 5)),
        ("2024-03-05 10:30", None, (2024, 3, 5)),
        ("05.03.2024", "day-month-year", (2024, 3, 5)),
        ("05.03.2024", "month-day-year", (2024, 5, 3)),
        ("5/5/2024", None, (2024, 5, 5)),
        ("5 Mar 2024", None, (2024, 3, 5)),
        ("5. März 2024", None, (2024, 3, 5)),
        ("5-Dez-2024", None, (2024, 12, 5)),
        (datetime.date(2024, 3, 5), "month-day-year", (2024, 3, 5)),
    ],
)
def test_a_day_is_what_was_written(text, order, day) -> None:
    assert day_of(text, order) == datetime.date(*day)


@pytest.mark.parametrize(
    ("text", "order"),
    [
        ("05.03.2024", None),
        ("13/25/2024", "day-month-year"),
        ("25/03/2024", "month-day-year"),
        ("05.03.24", "day-month-year"),
        ("05.03.2024", "year-month-day"),
        ("2024-02-30", None),
        ("45000", None),
        ("last week", None),
        ("12", None),
    ],
)
def test_what_is_no_day_or_could_be_two_is_a_fault(text, order) -> None:
    assert isinstance(day_of(text, order), CellFault)


def test_a_column_of_dates_settles_its_order_or_says_that_it_does_not() -> None:
    assert date_order(["03.04.2024", "13.04.2024"]) == "day-month-year"
    assert date_order(["3/4/2024", "4/13/2024", None, ""]) == "month-day-year"
    assert date_order(["03.04.2024", "05.05.2024"]) == "either"
    assert date_order(["13.04.2024", "04.13.2024"]) == "both"
    assert date_order(["2024-03-04", datetime.date(2024, 3, 4), "5/5/2024"]) is None


def test_numbers_settle_the_decimal_sign_unless_they_contradict_or_may_be_thousands() -> None:
    assert decimal_sign(["25,3", "1.234"]) == ","
    assert decimal_sign(["25.3", 27.0]) == "."
    assert decimal_sign(["25.3", "25,3"]) is None
    assert decimal_sign(["1.234", "250"]) is None
    assert decimal_sign(["0.125"]) == "."
