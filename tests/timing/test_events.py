"""Every event has its window: starts and ends, examinations, birthdays that rules name, the end of growth."""

from __future__ import annotations

import datetime

import pytest

from pathway.days import add_months, day_at_age, days_between, fewest_days, most_days
from pathway.network import Conflict
from pathway.protocol.question import Question
from pathway.timing.windows import stage_windows
from tests.rule_engine.graphs import graph_of
from tests.sample import BORN, ON, SHALLOW_AND_BENT, five_year_old, operation
from tests.timing.schedules import dates, lengthening

FIRST = "femoral_lengthening_1"


def timeline_of(record, protocol, on: datetime.date = ON, **given):
    timeline = stage_windows(graph_of(record, protocol, on=on), Question(record, protocol, on), **given)
    assert not isinstance(timeline, Conflict)
    return timeline


def day(date: datetime.date) -> int:
    return days_between(BORN, date)


def test_an_examination_comes_before_its_stage_by_no_more_than_the_rule_says(protocol) -> None:
    timeline = timeline_of(five_year_old(SHALLOW_AND_BENT), protocol)
    start, seen = timeline.start(FIRST), timeline.examination(FIRST)
    months = max(gate.look_again_months for gate in protocol.gates if gate.guards == "femoral_lengthening")
    assert seen.earliest_day == start.earliest_day - fewest_days(months)
    assert seen.latest_day == start.latest_day


def test_no_examination_lies_in_the_past(protocol) -> None:
    timeline = timeline_of(five_year_old(SHALLOW_AND_BENT), protocol)
    assert timeline.examination("hip_preparation_1").earliest_day == day(ON)


def test_what_is_done_has_no_examination_before_it(protocol) -> None:
    done = operation("hip_preparation", BORN.replace(year=2025))
    timeline = timeline_of(five_year_old(operations=(done,)), protocol)
    assert timeline.examination("hip_preparation_1") is None
    assert timeline.start("hip_preparation_1") is not None


def test_ends_have_windows_too(protocol) -> None:
    timeline = timeline_of(five_year_old(SHALLOW_AND_BENT), protocol)
    start, end = timeline.start("hip_preparation_1"), timeline.end("hip_preparation_1")
    lasting = most_days(protocol.stage("hip_preparation").duration_months or 0)
    assert end.earliest_day == start.earliest_day + lasting


@pytest.mark.parametrize("months", [36, 48, 240])
def test_a_birthday_that_an_age_rule_names_is_an_event(months, protocol) -> None:
    window = timeline_of(five_year_old(), protocol).birthday(months)
    assert window.earliest_day == window.latest_day == day(add_months(BORN, months))


def test_a_birthday_that_no_rule_names_is_none(protocol) -> None:
    assert timeline_of(five_year_old(), protocol).birthday(37) is None


def test_the_end_of_growth_is_an_event(protocol) -> None:
    timeline = timeline_of(five_year_old(), protocol, mature_age_years=16.5)
    assert timeline.maturity.earliest_day == timeline.maturity.latest_day == day(day_at_age(BORN, 16.5))


def test_without_a_reading_growth_ends_where_the_curve_does(protocol) -> None:
    from pathway.growth import growth_curve

    mature = growth_curve(protocol, "boy").mature_age_years
    assert timeline_of(five_year_old(), protocol).maturity.earliest_day == day(day_at_age(BORN, mature))


class TestAnActualDate:
    """When an operation was really done, everything after it moves with its day."""

    def test_the_windows_move(self, protocol) -> None:
        before = timeline_of(five_year_old(SHALLOW_AND_BENT), protocol)
        on = add_months(ON, 9)
        done = (operation("hip_preparation", add_months(ON, 8)), operation("proximal_femoral_osteotomy", on))
        after = timeline_of(five_year_old(SHALLOW_AND_BENT, operations=done), protocol, on=on)
        assert after.start("hip_preparation_1").earliest_day == day(done[0].date)
        out = after.start("hardware_removal_1").earliest_day
        assert out == day(add_months(on, 12))
        assert after.start(FIRST).earliest_day == out + most_days(3) > before.start(FIRST).earliest_day

    def test_the_dates_move_by_as_much_as_the_operation_came_late(self, protocol) -> None:
        planned = dates(five_year_old(SHALLOW_AND_BENT), protocol, lengthening(1, 6.0))
        late = add_months(planned.start["hip_preparation_1"], 5)
        done = (operation("hip_preparation", late), operation("proximal_femoral_osteotomy", late))
        record = five_year_old(SHALLOW_AND_BENT, operations=done)
        moved = dates(record, protocol, lengthening(1, 6.0), on=late)
        by = (moved.start[FIRST] - planned.start[FIRST]).days
        assert abs(by - (late - planned.start["hip_preparation_1"]).days) <= 4
        assert moved.start[FIRST] >= add_months(moved.start["hardware_removal_1"], 3)

    def test_an_operation_that_came_early_frees_what_waited_for_it(self, protocol) -> None:
        planned = dates(five_year_old(SHALLOW_AND_BENT), protocol, lengthening(1, 6.0))
        early = (operation("hip_preparation", ON), operation("proximal_femoral_osteotomy", ON))
        moved = dates(five_year_old(SHALLOW_AND_BENT, operations=early), protocol, lengthening(1, 6.0), on=ON)
        assert moved.start[FIRST] < planned.start[FIRST]
