"""Months are counted as the calendar counts them, ages run both ways, and month counts never round inward."""

from __future__ import annotations

import calendar
import datetime
import re

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from pathway.days import (
    add_months,
    age_at,
    age_on,
    age_words,
    age_years,
    as_day,
    day_at_age,
    fewest_days,
    most_days,
    whole_months,
)
from tests.offenders import for_each

days = st.dates(datetime.date(1990, 1, 1), datetime.date(2060, 12, 31))
ages = st.floats(0, 25, allow_nan=False)


@given(days, days)
@example(datetime.date(2020, 11, 8), datetime.date(2021, 11, 7))
@example(datetime.date(2020, 1, 31), datetime.date(2020, 2, 29))
@example(datetime.date(2020, 2, 29), datetime.date(2021, 2, 28))
def test_the_months_counted_are_the_most_that_can_be_added_without_passing_the_end(one, other) -> None:
    start, end = sorted((one, other))
    months = whole_months(start, end)
    assert as_day(start).add(months=months) <= end < as_day(start).add(months=months + 1)


@given(days, st.integers(0, 300))
@example(datetime.date(2023, 1, 31), 1)
def test_adding_months_and_counting_them_again_gives_the_same_number(start, months) -> None:
    assert whole_months(start, as_day(start).add(months=months)) == months


@given(days, days)
def test_counting_backwards_gives_the_negative_count(start, end) -> None:
    assert whole_months(end, start) == -whole_months(start, end)


@given(days, days)
def test_the_day_at_an_age_is_the_day_the_age_was_told_on(one, other) -> None:
    born, on = sorted((one, other))
    assert day_at_age(born, age_years(born, on)) == on


@given(days, ages)
def test_the_age_on_the_day_at_an_age_is_that_age_to_half_a_day(born, age) -> None:
    assert age_years(born, day_at_age(born, age)) == pytest.approx(age, abs=0.5001 / 365)


@given(days, st.integers(0, 25))
def test_every_birthday_is_a_whole_age(born, years) -> None:
    assert age_years(born, add_months(born, 12 * years)) == years


@given(days, days)
def test_a_day_later_is_an_age_higher(one, other) -> None:
    born, on = sorted((one, other))
    assert age_years(born, on) < age_years(born, on + datetime.timedelta(days=1))


def test_a_child_born_on_29_february_turns_one_on_28_february_and_four_on_the_29th() -> None:
    born = datetime.date(2020, 2, 29)
    assert age_years(born, datetime.date(2021, 2, 28)) == 1
    assert age_years(born, datetime.date(2024, 2, 28)) < 4
    assert age_years(born, datetime.date(2024, 2, 29)) == 4


@pytest.mark.parametrize(
    ("age", "words"),
    [
        (4.25, "4 y 3 m"),
        (4.0, "4 y"),
        (0.5, "6 m"),
        (0.01, "0 m"),
        (3.997, "3 y 11 m"),
        (11 + 11.99 / 12 - 0.001, "11 y 11 m"),
        (round(8 + 7 / 12, 3), "8 y 7 m"),
    ],
)
def test_ages_are_said_in_completed_years_and_months(age, words) -> None:
    assert age_words(age) == words


@pytest.mark.parametrize(
    ("born", "day", "words"),
    [
        ((2022, 11, 26), (2026, 11, 25), "3 y 11 m"),
        ((2022, 11, 25), (2026, 11, 25), "4 y"),
        ((2025, 12, 8), (2026, 11, 25), "11 m"),
        ((2026, 11, 1), (2026, 11, 25), "0 m"),
        ((2024, 2, 29), (2025, 2, 28), "1 y"),
        ((2026, 1, 1), (2026, 4, 1), "3 m"),
    ],
)
def test_on_a_day_no_month_is_said_that_is_still_to_come(born, day, words) -> None:
    assert age_on(datetime.date(*born), datetime.date(*day)) == words


@given(born=days, ahead=st.integers(0, 20 * 366))
def test_the_age_on_a_day_and_at_the_decimal_age_of_that_day_are_the_same(born, ahead) -> None:
    day = born + datetime.timedelta(days=ahead)
    assert age_at(born, age_years(born, day)) == age_on(born, day)
    told = dict(reversed(part.split()) for part in re.findall(r"\d+ [ym]", age_on(born, day)))
    assert 12 * int(told.get("y", 0)) + int(told.get("m", 0)) == whole_months(born, day)


def _added(day: datetime.date, months: int) -> datetime.date:
    year, month = divmod(12 * day.year + day.month - 1 + months, 12)
    return datetime.date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


@for_each(range(1, 61), parts=4)
def test_most_and_fewest_days_of_a_month_count_are_reached_and_never_passed(months) -> None:
    first, last = datetime.date(2000, 1, 1).toordinal(), datetime.date(2032, 12, 31).toordinal()
    starts = (datetime.date.fromordinal(ordinal) for ordinal in range(first, last + 1))
    spans = {(_added(start, months) - start).days for start in starts}
    assert (fewest_days(months), most_days(months)) == (min(spans), max(spans))


def test_no_months_last_no_days() -> None:
    assert (fewest_days(0), most_days(0)) == (0, 0)
