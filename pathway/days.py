"""Calendar arithmetic: whole months, decimal ages and the bounds of a month count in days.

pendulum adds months rightly but counts them wrongly near month ends (its `in_months` is one too high in
about one pair of a hundred), so counting is done here and tested against pendulum's addition.
"""

from __future__ import annotations

import calendar
import datetime
import math
from typing import Annotated

import pendulum
from pydantic import AfterValidator


def as_day(value: datetime.date) -> pendulum.Date:
    """Return `value` as a pendulum date (calendar day, no time)."""
    return pendulum.date(value.year, value.month, value.day)


MONTH_DAYS = 30.4375
"""Days of a month of mean length."""

Day = Annotated[datetime.date, AfterValidator(as_day)]
"""A pydantic field type: strict ISO calendar day, held as a pendulum date."""


def whole_months(start: datetime.date, end: datetime.date) -> int:
    """Return the completed calendar months from `start` to `end` (negative when `end` is earlier).

    It is the largest n with `add_months(start, n) <= end`: a month that began on the 31st is complete on the
    last day of a shorter month, and a child born on 29 February is a year older on 28 February.
    """
    if end < start:
        return -whole_months(end, start)
    last_day = calendar.monthrange(end.year, end.month)[1]
    return 12 * (end.year - start.year) + end.month - start.month - (end.day < min(start.day, last_day))


def add_months(day: datetime.date, months: int) -> pendulum.Date:
    """Return `day` moved by whole calendar months; the last day of the month where the day does not exist."""
    return as_day(day).add(months=months)


def age_years(born: datetime.date, on: datetime.date) -> float:
    """Return the age in decimal years: completed years plus the share of the running year of life."""
    years = whole_months(born, on) // 12
    last = add_months(born, 12 * years)
    following = add_months(born, 12 * (years + 1))
    return years + (on - last).days / (following - last).days


def day_at_age(born: datetime.date, age: float) -> pendulum.Date:
    """Return the calendar day on which a child born on `born` reaches the decimal `age` in years."""
    years = int(age // 1)
    last = add_months(born, 12 * years)
    following = add_months(born, 12 * (years + 1))
    return last.add(days=round((age - years) * (following - last).days))


def age_on(born: datetime.date, day: datetime.date) -> str:
    """Return the age on a day as a clinician says it, in completed years and months: `4 y 3 m`, `11 m`."""
    return _years_and_months(whole_months(born, day))


def age_at(born: datetime.date, age: float) -> str:
    """Return the age on the day on which a child reaches a decimal age, in completed years and months."""
    return age_on(born, day_at_age(born, age))


def age_words(age: float) -> str:
    """Return a decimal age, where no day is known, in completed years and months; `age_on` where one is."""
    return _years_and_months(completed_months(age))


def completed_months(age: float) -> int:
    """Return the months completed at a decimal age in years: never one that is still to come."""
    return math.floor(12 * age + _ROUNDED_OFF)


_ROUNDED_OFF = 0.01
"""Months: what is lost where an age of whole months is kept to three decimals; less than half a day."""


def _years_and_months(months: int) -> str:
    years, rest = divmod(months, 12)
    return " ".join(f"{count} {unit}" for count, unit in ((years, "y"), (rest, "m")) if count) or "0 m"


def most_days(months: int) -> int:
    """Return the most days that `months` calendar months can last, whatever the start."""
    return max(_lengths(months))


def fewest_days(months: int) -> int:
    """Return the fewest days that `months` calendar months can last, whatever the start."""
    return min(_lengths(months))


_CACHE: dict[int, tuple[int, int]] = {}


def _lengths(months: int) -> tuple[int, int]:
    # Eight years hold every leap pattern; the extremes lie at starts on the first of a month (never clipped)
    # and near its end (clipped): the tests compare with every start of 33 years.
    if months not in _CACHE:
        spans = [
            (add_months(day, months) - as_day(day)).days
            for year in range(2000, 2008)
            for month in range(1, 13)
            for day in (*(datetime.date(year, month, n) for n in (1, 28)), _month_end(year, month))
        ]
        _CACHE[months] = (min(spans), max(spans))
    return _CACHE[months]


def _month_end(year: int, month: int) -> datetime.date:
    following = datetime.date(year + month // 12, month % 12 + 1, 1)
    return following - datetime.timedelta(days=1)


def days_between(start: datetime.date, end: datetime.date) -> int:
    """Return the days from `start` to `end`; negative when `end` is earlier."""
    return end.toordinal() - start.toordinal()


def in_months(days: float) -> float:
    """Return days as months of mean length, to a tenth: for showing how long something lasts, never for dates."""
    return round(days / MONTH_DAYS, 1)


def span_words(days: int, *, up: bool = False) -> str:
    """Return how long so many days are, in words: days below two months, else whole months and years.

    Whole months are rounded down, or `up`: what is allowed is never said to be more, what is needed never less.
    """
    if abs(days) < 61:
        return f"{days} day" if days == 1 else f"{days} days"
    months = math.ceil(days / MONTH_DAYS) if up else math.floor(days / MONTH_DAYS)
    parts = [(months // 12, "year"), (months % 12, "month")]
    return " ".join(f"{count} {unit}" if count == 1 else f"{count} {unit}s" for count, unit in parts if count)
