"""Lengths in mm or cm, ages in years and months: taken as typed, or asked back, never guessed in silence."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tui.followup.amounts import Amount, AskedBack, Expected, length_mm, years
from tui.followup.options import Unclear

FEMUR = Expected((35.0, 620.0), 193.0)


@pytest.mark.parametrize(
    ("typed", "mm"),
    [("193", 193.0), ("19.3 cm", 193.0), ("19.3CM", 193.0), ("193mm", 193.0), ("19.3 mm", 19.3), ("2000", 2000.0)],
)
def test_a_length_is_taken_in_the_unit_that_is_typed(typed, mm) -> None:
    amount = length_mm(typed, FEMUR)
    assert amount is not None
    assert amount.value == pytest.approx(mm)


@pytest.mark.parametrize("typed", ["long", "19,3", "nan", "", "1e3"])
def test_what_is_no_length_is_left_to_whoever_reads_numbers(typed) -> None:
    assert length_mm(typed, FEMUR) is None


def test_a_number_that_cannot_be_mm_is_asked_back_as_cm() -> None:
    with pytest.raises(
        AskedBack, match=r"found 19.3, expected about 193 mm; did you mean 19.3 cm \(193 mm\)\?"
    ) as asked:
        length_mm("19.3", FEMUR)
    assert asked.value.offered == ("19.3 cm",)


def test_a_number_that_can_be_both_is_asked_back_where_cm_lies_nearer_to_what_is_known() -> None:
    with pytest.raises(AskedBack) as asked:
        length_mm("36", Expected((30.0, 620.0), 360.0))
    assert asked.value.offered == ("36 cm", "36 mm")
    assert length_mm("36", Expected((30.0, 620.0), 40.0)) == Amount(36.0)
    assert length_mm("36 mm", Expected((30.0, 620.0), 360.0)) == Amount(36.0, "36")


def test_without_anything_known_a_number_below_the_least_that_is_expected_is_asked_back() -> None:
    least = Expected(None, None, 20.0)
    with pytest.raises(AskedBack, match="expected 20 mm or more"):
        length_mm("4.2", least)
    assert length_mm("42", least) == Amount(42.0)
    assert length_mm("1.5", least) == Amount(1.5)


@given(st.floats(36, 619, allow_nan=False).map(lambda mm: round(mm, 1)))
def test_the_same_length_in_cm_and_in_mm_is_one_length(mm) -> None:
    in_mm, in_cm = length_mm(f"{mm:g} mm", FEMUR), length_mm(f"{mm / 10:.2f} cm", FEMUR)
    assert in_mm is not None
    assert in_cm is not None
    assert in_mm.value == pytest.approx(in_cm.value)


@pytest.mark.parametrize(
    ("typed", "value", "means"),
    [
        ("9y6m", 9.5, "9 y 6 m = 9.5"),
        ("9 y 6 m", 9.5, "9 y 6 m = 9.5"),
        ("9Y6", 9.5, "9 y 6 m = 9.5"),
        ("9 years 6 months", 9.5, "9 y 6 m = 9.5"),
        ("9 6/12", 9.5, "9 y 6 m = 9.5"),
        ("9y", 9.0, "9 y 0 m = 9"),
        ("9", 9.0, "9 y 0 m = 9"),
        ("9.5", 9.5, "9 y 6 m = 9.5"),
        ("9.6", 9.6, "9 y 7 m = 9.6"),
        ("9y7m", 9.58, "9 y 7 m = 9.58"),
        ("30 m", 2.5, "2 y 6 m = 2.5"),
    ],
)
def test_an_age_is_typed_in_years_and_months_or_in_years(typed, value, means) -> None:
    assert years(typed) == Amount(value, means)


@given(st.integers(0, 18), st.integers(0, 11))
def test_the_months_typed_are_the_months_understood(whole, months) -> None:
    assert years(f"{whole}y{months}m").means.startswith(f"{whole} y {months} m = ")


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("9y14m", "expected 0 to 11 months after the years"),
        ("9,5", "write the decimal point as a point"),
        ("nine", "expected years and months such as 9y6m"),
        ("9-6", "expected years and months such as 9y6m"),
    ],
)
def test_what_is_no_age_is_said(typed, said) -> None:
    with pytest.raises(Unclear, match=said):
        years(typed)
