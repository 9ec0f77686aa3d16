"""Dates of a course: inside their windows, in order, on working days outside blocked dates."""

from __future__ import annotations

import datetime
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathway.days import add_months, as_day, whole_months
from pathway.network import Conflict
from pathway.timing.calendar import calendar_of, free_day
from pathway.timing.rule_links import Placed, device_days
from pathway.timing.schedule import Timetable
from tests.rule_engine.graphs import BOTH
from tests.sample import (
    BORN,
    HEALTHY,
    LEGS,
    ON,
    SHALLOW_AND_BENT,
    at_age,
    child,
    decision,
    five_year_old,
    operation,
    visit,
)
from tests.timing.schedules import dates, lengthening, schedule

Day = datetime.date


def inside(times: Timetable) -> bool:
    return all(
        low <= times.start[stage] and (high is None or times.start[stage] <= high)
        for stage, (low, high) in times.window.items()
    )


class TestOrder:
    def test_a_year_from_hip_to_lengthening(self, protocol) -> None:
        times = dates(five_year_old(SHALLOW_AND_BENT), protocol, lengthening(1, 5.0))
        hip, first = times.start["hip_preparation_1"], times.start["femoral_lengthening_1"]
        assert first >= add_months(hip, 12)

    def test_hip_femur_and_knee_share_a_day(self, protocol) -> None:
        record = five_year_old({**SHALLOW_AND_BENT, "knee_dislocated": True})
        times = dates(record, protocol)
        same = {
            times.start[f"{kind}_1"] for kind in ("hip_preparation", "proximal_femoral_osteotomy", "knee_preparation")
        }
        assert len(same) == 1

    def test_three_years_between_lengthenings_of_one_bone(self, protocol) -> None:
        times = dates(five_year_old(), protocol, lengthening(1, 6.0), lengthening(2, 6.5))
        assert times.start["femoral_lengthening_2"] >= add_months(times.start["femoral_lengthening_1"], 36)

    def test_the_device_comes_out_on_the_day_that_ends_the_lengthening(self, protocol) -> None:
        times = dates(five_year_old(), protocol, lengthening(1, 6.0, 70.0))
        assert times.start["femoral_device_removal_1"] == times.end["femoral_lengthening_1"]
        assert times.start["hip_surveillance_1"] == times.end["femoral_lengthening_1"]
        lasted = (times.end["femoral_lengthening_1"] - times.start["femoral_lengthening_1"]).days
        assert 0 <= lasted - device_days(protocol, "femur", 70.0) <= 2

    def test_a_year_between_the_two_bones_whichever_comes_first(self, protocol) -> None:
        for femur, tibia in ((6.0, 6.5), (6.5, 6.0)):
            parts = (lengthening(1, femur), lengthening(1, tibia, 30.0, "tibial"))
            times = dates(five_year_old(), protocol, *parts, predicted=BOTH)
            one, other = ("femoral", "tibial") if femur < tibia else ("tibial", "femoral")
            assert times.start[f"{other}_lengthening_1"] >= add_months(times.end[f"{one}_lengthening_1"], 12)

    def test_a_device_still_on_comes_out_after_today(self, protocol) -> None:
        done = operation("femoral_lengthening", at_age(4), achieved_mm=50)
        times = dates(five_year_old(operations=(done,)), protocol)
        lead = datetime.timedelta(days=protocol.number("planning_lead_days"))
        assert times.start["femoral_lengthening_1"] == done.date
        assert times.start["femoral_device_removal_1"] >= ON + lead


class TestAges:
    def test_a_chosen_age_is_the_earliest_day(self, protocol) -> None:
        times = dates(five_year_old(), protocol, lengthening(1, 7.0))
        late = (times.start["femoral_lengthening_1"] - at_age(7.0)).days
        assert 0 <= late <= 2

    def test_the_usual_age_is_waited_for_where_nothing_speaks_against_it(self, protocol) -> None:
        record = child(visit(at_age(1.2), {**HEALTHY, "center_edge_angle_deg": 12.0}))
        times = dates(record, protocol, on=at_age(1.2))
        assert 0 <= (times.start["hip_preparation_1"] - add_months(BORN, 24)).days <= 2

    def test_where_it_has_passed_the_earliest_day_counts(self, protocol) -> None:
        times = dates(five_year_old(SHALLOW_AND_BENT), protocol)
        lead = ON + datetime.timedelta(days=protocol.number("planning_lead_days"))
        assert times.start["hip_preparation_1"] == free_day(lead, calendar_of(five_year_old(), protocol))

    def test_a_lengthening_without_a_chosen_age_waits_for_its_usual_one(self, protocol) -> None:
        record = child(visit(at_age(3), {**HEALTHY, **LEGS}))
        times = dates(record, protocol, lengthening(1, None), on=at_age(3))
        assert 0 <= (times.start["femoral_lengthening_1"] - add_months(BORN, 48)).days <= 2

    def test_a_usual_age_that_would_break_a_hard_one_is_given_up(self, protocol) -> None:
        rules = tuple(
            rule.model_copy(update={"hard": True, "at_least_months": None, "at_most_months": 40})
            if rule.id == "femoral_lengthening.not_before_three"
            else rule
            for rule in protocol.age_windows
        )
        local = protocol.model_copy(update={"age_windows": rules})
        record = child(visit(at_age(2.5), {**HEALTHY, **LEGS}))
        times = dates(record, local, lengthening(1, None), on=at_age(2.5))
        assert times.start["femoral_lengthening_1"] <= add_months(BORN, 40)


class TestCalendar:
    def test_operations_fall_on_working_days(self, protocol) -> None:
        record = five_year_old(SHALLOW_AND_BENT)
        times = dates(record, protocol, lengthening(1, 7.0), lengthening(2, 10.5))
        work = {stage.id for stage in protocol.stages if stage.operation}
        operations = [day for stage, day in times.start.items() if re.sub(r"_\d+$", "", stage) in work]
        assert len(operations) >= 6
        assert all(day.weekday() < 5 for day in operations)

    @pytest.mark.parametrize(
        ("day", "free"),
        [
            (Day(2027, 6, 4), Day(2027, 6, 4)),  # a Friday
            (Day(2027, 6, 5), Day(2027, 6, 7)),  # a Saturday
            (Day(2027, 6, 6), Day(2027, 6, 7)),  # a Sunday
            (Day(2027, 6, 15), Day(2027, 9, 13)),  # blocked until Friday 10 September and the Saturday after it
            (Day(2027, 7, 31), Day(2027, 9, 13)),
            (Day(2027, 9, 12), Day(2027, 9, 13)),
            (Day(2027, 9, 13), Day(2027, 9, 13)),
        ],
    )
    def test_the_first_free_day(self, day, free, protocol) -> None:
        blocks = (
            decision("block_dates", from_date=Day(2027, 6, 15), to_date=Day(2027, 9, 10)),
            decision("block_dates", from_date=Day(2027, 9, 11), to_date=Day(2027, 9, 11)),
        )
        assert free_day(day, calendar_of(five_year_old(decisions=blocks), protocol)) == free

    def test_blocked_dates_move_the_operation_and_all_that_hangs_on_it(self, protocol) -> None:
        blocked = decision("block_dates", by="family", from_date=at_age(6.9), to_date=at_age(7.3))
        times = dates(five_year_old(decisions=(blocked,)), protocol, lengthening(1, 7.0), lengthening(2, 10.0))
        first, second = times.start["femoral_lengthening_1"], times.start["femoral_lengthening_2"]
        assert first > blocked.to_date
        assert second >= add_months(first, 36)
        assert times.start["femoral_device_removal_1"] == times.end["femoral_lengthening_1"]

    def test_a_removal_in_blocked_dates_is_put_off_with_the_end_of_the_lengthening(self, protocol) -> None:
        free = dates(five_year_old(), protocol, lengthening(1, 7.0)).start["femoral_device_removal_1"]
        blocked = decision("block_dates", from_date=free, to_date=add_months(free, 1))
        times = dates(five_year_old(decisions=(blocked,)), protocol, lengthening(1, 7.0))
        assert times.start["femoral_device_removal_1"] > blocked.to_date
        assert times.start["femoral_device_removal_1"] == times.end["femoral_lengthening_1"]

    def test_what_is_no_operation_may_fall_into_blocked_dates(self, protocol) -> None:
        blocked = decision("block_dates", from_date=ON, to_date=add_months(ON, 6))
        times = dates(five_year_old(decisions=(blocked,)), protocol)
        assert times.start["extension_prosthesis"] == ON


class TestContradictions:
    """Where the rules leave no day, the fewest rules that contradict are named."""

    def test_an_age_past_the_end_of_the_plan(self, protocol) -> None:
        answer = schedule(five_year_old(), protocol, lengthening(1, 20.5))
        assert isinstance(answer, Conflict)
        assert set(answer.rules) == {"femoral_lengthening.before_twenty", "age chosen for the course"}

    def test_dates_blocked_up_to_the_end(self, protocol) -> None:
        blocked = decision("block_dates", from_date=at_age(17), to_date=at_age(21))
        answer = schedule(five_year_old(decisions=(blocked,)), protocol, lengthening(1, 17.5))
        assert isinstance(answer, Conflict)
        assert set(answer.rules) == {"femoral_lengthening.before_twenty", "dates blocked"}

    def test_intervals_that_cannot_both_hold(self, protocol) -> None:
        changed = {
            "hip_preparation.before_lengthening": {"at_least_months": 0, "at_most_months": 6},
            "osteotomy.before_lengthening": {"at_least_months": 18},
        }
        rules = tuple(rule.model_copy(update=changed.get(rule.id, {})) for rule in protocol.intervals)
        local = protocol.model_copy(update={"intervals": rules})
        answer = schedule(five_year_old(SHALLOW_AND_BENT), local, lengthening(1, 7.0))
        assert isinstance(answer, Conflict)
        assert "hip_preparation.before_lengthening" in answer.rules
        assert "hip.osteotomy_in_same_sitting" in answer.rules
        assert answer.short_by_days > 300


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    born=st.dates(Day(2012, 1, 1), Day(2026, 12, 31)),
    age_months=st.integers(20, 110),
    extra=st.integers(0, 30),
    first=st.floats(0.2, 4),
    block=st.tuples(st.integers(0, 2000), st.integers(0, 200)),
)
def test_for_any_birth_date_and_day_the_dates_keep_windows_order_and_calendar(
    protocol, born, age_months, extra, first, block
) -> None:
    seen = add_months(born, age_months)
    on = as_day(seen + datetime.timedelta(days=extra))
    start = on + datetime.timedelta(days=block[0])
    blocked = decision("block_dates", date=on, from_date=start, to_date=start + datetime.timedelta(days=block[1]))
    record = child(visit(seen, {**SHALLOW_AND_BENT, **LEGS}), born=born, decisions=(blocked,))
    age = whole_months(born, on) / 12 + first
    times = schedule(record, protocol, lengthening(1, age), lengthening(2, age + 3.1), on=on)
    assert isinstance(times, Timetable)
    assert inside(times)
    for stage, day in times.start.items():
        assert times.end[stage] >= day
        if protocol.stage(re.sub(r"_\d+$", "", stage)).operation:
            assert day.weekday() < 5
            assert not blocked.from_date <= day <= blocked.to_date
    assert times.start["femoral_lengthening_1"] >= add_months(times.start["hip_preparation_1"], 12)
    assert times.start["femoral_lengthening_1"] >= add_months(times.start["hardware_removal_1"], 3)
    assert times.start["femoral_lengthening_1"] >= add_months(born, 36)
    assert times.start["femoral_lengthening_2"] >= add_months(times.start["femoral_lengthening_1"], 36)


def test_a_course_may_leave_every_age_open(protocol) -> None:
    times = dates(five_year_old(), protocol, {"contralateral_growth_arrest": Placed()})
    assert times.start["contralateral_growth_arrest"] > ON
