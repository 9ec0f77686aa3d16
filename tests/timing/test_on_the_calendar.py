"""Operations of a course keep to the calendar; the wish for school holidays is followed where no chosen age moves."""

from __future__ import annotations

import datetime

from pathway.days import add_months
from pathway.network import Conflict
from pathway.record import BlockedWeeks, CaseCalendar, SchoolHoliday
from pathway.timing.schedule import Timetable
from tests.sample import ON, SHALLOW_AND_BENT, at_age, decision, five_year_old
from tests.timing.schedules import dates, lengthening, schedule

DAY = datetime.timedelta(days=1)
FIRST, HIP = "femoral_lengthening_1", "hip_preparation_1"
REMOVAL = "femoral_device_removal_1"


def child_with(findings=SHALLOW_AND_BENT, **given):
    return five_year_old(findings).model_copy(update={"calendar": CaseCalendar(**given)})


def holiday(name: str, first: datetime.date, days: int) -> SchoolHoliday:
    return SchoolHoliday(name=name, from_date=first, to_date=first + datetime.timedelta(days=days))


def test_every_operation_falls_on_a_day_on_which_the_surgeon_operates(protocol) -> None:
    times = dates(child_with(operating_weekdays=("wednesday",)), protocol, lengthening(1, 7.0))
    operations = [HIP, "proximal_femoral_osteotomy_1", "hardware_removal_1", FIRST, REMOVAL]
    assert {times.start[stage].weekday() for stage in operations} == {2}
    assert times.end[FIRST] == times.start[REMOVAL]


def test_no_operation_falls_into_weeks_in_which_the_clinic_is_closed(protocol) -> None:
    free = dates(child_with(), protocol, lengthening(1, 7.0)).start[FIRST]
    closed = BlockedWeeks(reason="theatre rebuilt", from_date=free - 3 * DAY, to_date=free + 40 * DAY)
    times = dates(child_with(blocked=(closed,)), protocol, lengthening(1, 7.0))
    assert 0 < (times.start[FIRST] - closed.to_date).days <= 3


def test_a_clinic_closed_for_ever_is_a_conflict_that_names_it(protocol) -> None:
    closed = BlockedWeeks(reason="closed", from_date=ON, to_date=at_age(21))
    answer = schedule(child_with(blocked=(closed,)), protocol, lengthening(1, 7.0))
    assert isinstance(answer, Conflict)
    assert "dates blocked" in answer.rules


class TestWish:
    def wishing(self, *holidays, findings=SHALLOW_AND_BENT):
        return child_with(findings, operations_in_school_holidays="wished", school_holidays=holidays)

    def test_without_a_wish_nothing_is_said(self, protocol) -> None:
        times = dates(child_with(school_holidays=(holiday("summer", at_age(7.1), 40),)), protocol, lengthening(1, 7.0))
        assert times.wishes == {}

    def test_a_date_moves_on_into_the_next_holiday(self, protocol) -> None:
        summer = holiday("summer", at_age(7.1), 40)
        plain = dates(child_with(), protocol, lengthening(1, 7.0))
        times = dates(self.wishing(summer), protocol, lengthening(1, 7.0))
        assert times.wishes[FIRST].met == "summer"
        assert plain.start[FIRST] < summer.from_date <= times.start[FIRST] <= summer.from_date + 3 * DAY
        assert times.start[REMOVAL] > plain.start[REMOVAL]

    def test_a_date_that_lies_in_one_stays(self, protocol) -> None:
        plain = dates(child_with(), protocol, lengthening(1, 7.0))
        times = dates(self.wishing(holiday("spring", plain.start[FIRST], 5)), protocol, lengthening(1, 7.0))
        assert (times.start[FIRST], times.wishes[FIRST].met) == (plain.start[FIRST], "spring")

    def test_it_does_not_move_where_a_later_operation_would_have_to(self, protocol) -> None:
        """The first lengthening stands at its earliest day: a year and screw holes after the hip."""
        plain = dates(child_with(), protocol, lengthening(1, 6.0))
        late = holiday("summer", add_months(plain.start[HIP], 6), 40)
        times = dates(self.wishing(late), protocol, lengthening(1, 6.0))
        wish = times.wishes[HIP]
        assert times.start[HIP] == plain.start[HIP]
        assert (wish.met, wish.tried) == (None, "summer")
        assert FIRST in wish.would_move

    def test_it_does_not_move_past_what_the_rules_allow(self, protocol) -> None:
        healthy = self.wishing(holiday("late", at_age(20.5), 40), findings=dict(SHALLOW_AND_BENT))
        times = dates(healthy, protocol, lengthening(1, 18.5))
        wish = times.wishes[FIRST]
        assert (wish.met, wish.tried, wish.would_move) == (None, "late", ())

    def test_it_does_not_move_a_device_into_months_that_were_to_be_free_of_one(self, protocol) -> None:
        plain = dates(child_with(), protocol, lengthening(1, 7.0))
        free = decision("no_device", by="family", from_date=plain.end[FIRST] + 5 * DAY, to_date=at_age(8.5))
        record = self.wishing(holiday("summer", at_age(7.1), 40)).model_copy(update={"decisions": (free,)})
        wish = dates(record, protocol, lengthening(1, 7.0)).wishes[FIRST]
        assert (wish.met, wish.tried, wish.would_move) == (None, "summer", ())

    def test_without_any_holiday_known_it_stays_too(self, protocol) -> None:
        times = dates(self.wishing(), protocol, lengthening(1, 7.0))
        assert (times.wishes[FIRST].met, times.wishes[FIRST].tried) == (None, None)
        assert times.start[FIRST] == dates(child_with(), protocol, lengthening(1, 7.0)).start[FIRST]

    def test_a_removal_is_not_put_off_for_a_holiday(self, protocol) -> None:
        times = dates(self.wishing(holiday("any", at_age(8.5), 40)), protocol, lengthening(1, 7.0))
        assert REMOVAL not in times.wishes
        assert isinstance(times, Timetable)

    def test_all_of_one_sitting_move_together(self, protocol) -> None:
        plain = dates(child_with(), protocol)
        soon = holiday("soon", plain.start[HIP] + 20 * DAY, 10)
        far = dates(self.wishing(soon), protocol, lengthening(1, 9.0))
        assert far.start[HIP] == far.start["proximal_femoral_osteotomy_1"] >= soon.from_date
