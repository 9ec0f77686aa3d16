"""On which days an operation may fall: clinic, case and family together."""

from __future__ import annotations

import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pathway.record import BlockedWeeks, CaseCalendar, SchoolHoliday
from pathway.timing.calendar import (
    WEEKDAYS,
    Calendar,
    Span,
    calendar_of,
    free_day,
    holiday_on,
    next_holiday_days,
    open_day,
)
from tests.sample import decision, five_year_old

Day = datetime.date
SUMMER = SchoolHoliday(name="summer", from_date=Day(2027, 7, 12), to_date=Day(2027, 8, 21))
AUTUMN = SchoolHoliday(name="autumn", from_date=Day(2027, 10, 16), to_date=Day(2027, 10, 24))
CLOSED = BlockedWeeks(reason="theatre rebuilt", from_date=Day(2027, 8, 1), to_date=Day(2027, 9, 12))


def of_case(protocol, *, decisions=(), **given):
    record = five_year_old(decisions=decisions).model_copy(update={"calendar": CaseCalendar(**given)})
    return calendar_of(record, protocol)


def clinic_of(protocol, **given):
    (ours,) = protocol.calendars
    return protocol.model_copy(update={"calendars": (ours.model_copy(update=given),)})


class TestWhoseCalendar:
    def test_the_shipped_one_has_the_working_days_and_nothing_else(self, protocol) -> None:
        assert calendar_of(five_year_old(), protocol) == Calendar(frozenset(range(5)))

    def test_a_case_file_replaces_what_it_gives_and_leaves_the_rest(self, protocol) -> None:
        clinic = clinic_of(protocol, operating_weekdays=("monday",), blocked=(CLOSED,), school_holidays=(SUMMER,))
        assert of_case(clinic) == Calendar(frozenset({0}), (Span(CLOSED.from_date, CLOSED.to_date),), (SUMMER,))
        tuesdays = of_case(clinic, operating_weekdays=("tuesday",))
        assert (tuesdays.weekdays, tuesdays.holidays) == (frozenset({1}), (SUMMER,))
        assert of_case(clinic, blocked=()).blocked == ()
        assert of_case(clinic, school_holidays=(AUTUMN,)).holidays == (AUTUMN,)

    def test_dates_that_the_family_blocked_come_on_top(self, protocol) -> None:
        away = decision("block_dates", by="family", from_date=Day(2027, 3, 1), to_date=Day(2027, 3, 20))
        calendar = of_case(protocol, decisions=(away,), blocked=(CLOSED,))
        assert calendar.blocked == (Span(CLOSED.from_date, CLOSED.to_date), Span(Day(2027, 3, 1), Day(2027, 3, 20)))

    def test_only_a_wish_is_a_wish(self, protocol) -> None:
        assert of_case(protocol, operations_in_school_holidays="wished").wishes_holidays
        assert not of_case(protocol, operations_in_school_holidays="not_wished").wishes_holidays
        assert not of_case(protocol).wishes_holidays

    def test_rules_without_a_calendar_say_so(self, protocol) -> None:
        with pytest.raises(LookupError, match="calendar"):
            calendar_of(five_year_old(), protocol.model_copy(update={"calendars": ()}))


class TestFreeDay:
    @pytest.mark.parametrize(
        ("day", "free"),
        [
            (Day(2027, 7, 26), Day(2027, 7, 27)),  # a Monday, operations on Tuesdays and Thursdays
            (Day(2027, 7, 27), Day(2027, 7, 27)),
            (Day(2027, 7, 30), Day(2027, 9, 14)),  # a Friday before the clinic closes; 14 September is a Tuesday
            (Day(2027, 9, 12), Day(2027, 9, 14)),
        ],
    )
    def test_the_next_one(self, day, free) -> None:
        calendar = Calendar(frozenset({1, 3}), (Span(CLOSED.from_date, CLOSED.to_date),))
        assert free_day(day, calendar) == free

    @given(
        st.dates(Day(2027, 1, 1), Day(2027, 12, 31)),
        st.sets(st.integers(0, 6), min_size=1),
        st.lists(st.tuples(st.dates(Day(2027, 1, 1), Day(2028, 3, 1)), st.integers(0, 60)), max_size=4),
    )
    def test_it_is_the_first_that_nothing_speaks_against(self, day, weekdays, blocks) -> None:
        spans = tuple(Span(first, first + datetime.timedelta(days=length)) for first, length in blocks)
        free = free_day(day, Calendar(frozenset(weekdays), spans))
        one = day
        while one.weekday() not in weekdays or any(span.first <= one <= span.last for span in spans):
            one += datetime.timedelta(days=1)
        assert free == one


class TestHolidays:
    CALENDAR = Calendar(frozenset({1}), (Span(Day(2027, 7, 12), Day(2027, 7, 31)),), (SUMMER, AUTUMN))

    def test_the_first_and_the_last_day_count(self) -> None:
        assert holiday_on(SUMMER.from_date, self.CALENDAR) == holiday_on(SUMMER.to_date, self.CALENDAR) == SUMMER
        assert holiday_on(SUMMER.to_date + datetime.timedelta(days=1), self.CALENDAR) is None

    def test_the_first_free_day_of_each_holiday_still_to_come(self) -> None:
        days = list(next_holiday_days(Day(2027, 6, 1), self.CALENDAR))
        assert days == [(Day(2027, 8, 3), SUMMER), (Day(2027, 10, 19), AUTUMN)]
        assert list(next_holiday_days(Day(2027, 8, 18), self.CALENDAR)) == [(Day(2027, 10, 19), AUTUMN)]

    def test_a_holiday_without_a_day_for_operations_is_passed_over(self) -> None:
        sundays = Calendar(frozenset({6}), (Span(Day(2027, 10, 1), Day(2027, 10, 31)),), (AUTUMN,))
        assert list(next_holiday_days(Day(2027, 6, 1), sundays)) == []


def test_weekdays_are_named_in_their_order() -> None:
    assert [WEEKDAYS[day.weekday()] for day in (Day(2027, 6, 7), Day(2027, 6, 13))] == ["monday", "sunday"]


class TestDaysOnWhichTheClinicIsOpen:
    WEEKDAYS_ONLY = Calendar(frozenset({1}))
    """Operations on Tuesdays; visits on every weekday."""

    def test_a_weekday_is_open_though_nobody_operates_then_and_a_weekend_waits_for_monday(self) -> None:
        assert open_day(Day(2027, 6, 10), self.WEEKDAYS_ONLY) == Day(2027, 6, 10)
        assert open_day(Day(2027, 6, 12), self.WEEKDAYS_ONLY) == open_day(Day(2027, 6, 13), self.WEEKDAYS_ONLY)
        assert open_day(Day(2027, 6, 12), self.WEEKDAYS_ONLY) == Day(2027, 6, 14)

    def test_a_clinic_that_operates_on_saturday_is_open_then(self) -> None:
        assert open_day(Day(2027, 6, 12), Calendar(frozenset({1, 5}))) == Day(2027, 6, 12)

    def test_closed_weeks_are_passed_over_and_one_that_must_come_before_is_put_before_them(self) -> None:
        shut = Calendar(frozenset(range(5)), (Span(Day(2027, 6, 7), Day(2027, 6, 19)),))
        assert open_day(Day(2027, 6, 10), shut) == Day(2027, 6, 21)
        assert open_day(Day(2027, 6, 10), shut, before=Day(2027, 6, 15)) == Day(2027, 6, 4)
        assert open_day(Day(2027, 6, 10), shut, before=Day(2027, 6, 22)) == Day(2027, 6, 21)

    @given(st.dates(Day(2020, 1, 1), Day(2060, 1, 1)), st.integers(0, 30), st.integers(1, 60))
    def test_it_is_never_closed_and_never_late(self, day, long, room) -> None:
        shut = Calendar(frozenset({2}), (Span(day, day + datetime.timedelta(days=long)),))
        last = day + datetime.timedelta(days=room)
        found = open_day(day, shut, before=last)
        assert found < last
        assert found.weekday() < 5
        assert found not in shut.blocked[0]
