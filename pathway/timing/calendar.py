"""On which days an operation may fall: the clinic's calendar, what a case says otherwise, the family's dates."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass
from typing import get_args

from pathway.protocol.model import Protocol
from pathway.record import Record, SchoolHoliday, Weekday

WEEKDAYS: tuple[str, ...] = get_args(Weekday)
DAY = datetime.timedelta(days=1)
SATURDAY = 5


@dataclass(frozen=True, slots=True)
class Span:
    """Days from the first to the last, both counted."""

    first: datetime.date
    last: datetime.date

    def __contains__(self, day: datetime.date) -> bool:
        return self.first <= day <= self.last


@dataclass(frozen=True, slots=True)
class Calendar:
    """What binds the operations of one child: weekdays (0 is Monday), closed spans, school holidays.

    `blocked` joins the clinic's weeks and the family's dates; `wishes_holidays` is a wish of the family, no rule.
    """

    weekdays: frozenset[int]
    blocked: tuple[Span, ...] = ()
    holidays: tuple[SchoolHoliday, ...] = ()
    wishes_holidays: bool = False


def calendar_of(record: Record, protocol: Protocol) -> Calendar:
    """Return the calendar that holds for a child: of each part the case file's where it gives one, else the clinic's.

    The dates that the family blocked by decisions come on top.
    """
    clinic, own = protocol.clinic_calendar, record.calendar
    weekdays, blocked, holidays = clinic.operating_weekdays, clinic.blocked, clinic.school_holidays
    if own is not None:
        weekdays = weekdays if own.operating_weekdays is None else own.operating_weekdays
        blocked = blocked if own.blocked is None else own.blocked
        holidays = holidays if own.school_holidays is None else own.school_holidays
    return Calendar(
        weekdays=frozenset(WEEKDAYS.index(name) for name in weekdays),
        blocked=(*(Span(weeks.from_date, weeks.to_date) for weeks in blocked), *_blocked_by_family(record)),
        holidays=tuple(sorted(holidays, key=lambda holiday: (holiday.from_date, holiday.to_date))),
        wishes_holidays=own is not None and own.operations_in_school_holidays == "wished",
    )


def _blocked_by_family(record: Record) -> Iterator[Span]:
    for decision in record.decisions:
        if decision.kind == "block_dates" and decision.from_date is not None and decision.to_date is not None:
            yield Span(decision.from_date, decision.to_date)


def free_day(day: datetime.date, calendar: Calendar) -> datetime.date:
    """Return the first day from `day` on on which an operation may fall."""
    while True:
        block = next((span for span in calendar.blocked if day in span), None)
        if block is not None:
            day = block.last + DAY
        elif day.weekday() not in calendar.weekdays:
            day += DAY
        else:
            return day


def open_day(day: datetime.date, calendar: Calendar, before: datetime.date | None = None) -> datetime.date:
    """Return the first day from `day` on on which the clinic sees a child: no closed span, no weekend.

    A clinic that operates on a Saturday is open then. Where that is not `before` the day, the last such day before it.
    """
    found = _open(day, calendar, DAY)
    return found if before is None or found < before else _open(before - DAY, calendar, -DAY)


def _open(day: datetime.date, calendar: Calendar, step: datetime.timedelta) -> datetime.date:
    while True:
        block = next((span for span in calendar.blocked if day in span), None)
        if block is not None:
            day = (block.last if step > datetime.timedelta() else block.first) + step
        elif day.weekday() >= SATURDAY and day.weekday() not in calendar.weekdays:
            day += step
        else:
            return day


def holiday_on(day: datetime.date, calendar: Calendar) -> SchoolHoliday | None:
    """Return the school holiday in which a day lies, or None."""
    return next((item for item in calendar.holidays if item.from_date <= day <= item.to_date), None)


def next_holiday_days(day: datetime.date, calendar: Calendar) -> Iterator[tuple[datetime.date, SchoolHoliday]]:
    """Yield, in order, the first day of each school holiday on which an operation may fall, from `day` on."""
    for holiday in calendar.holidays:
        free = free_day(max(day, holiday.from_date), calendar) if holiday.to_date >= day else None
        if free is not None and free <= holiday.to_date:
            yield free, holiday
