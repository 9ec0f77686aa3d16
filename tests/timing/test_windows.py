"""Months of the rules become days: exact from a known anchor, on the safe side from an unknown one."""

from __future__ import annotations

import datetime

import pytest

from pathway.days import add_months, days_between, fewest_days, most_days
from pathway.network import Conflict
from pathway.protocol.question import Question
from pathway.timing.rule_links import device_days
from pathway.timing.windows import stage_windows
from tests.rule_engine.graphs import BOTH, graph_of
from tests.sample import BORN, ON, SHALLOW_AND_BENT, at_age, child, five_year_old, operation, visit


def windows_of(record, protocol, on: datetime.date = ON, predicted=None):
    graph = graph_of(record, protocol, predicted, on) if predicted else graph_of(record, protocol, on=on)
    timeline = stage_windows(graph, Question(record, protocol, on))
    assert not isinstance(timeline, Conflict)
    return timeline


def start(timeline, stage: str) -> int:
    window = timeline.start(stage)
    assert window is not None
    return window.earliest_day


def day(date: datetime.date) -> int:
    return days_between(BORN, date)


class TestMonthsToDays:
    @pytest.mark.parametrize("months", [1, 3, 12, 36, 48])
    def test_at_least_takes_the_longest_months_and_at_most_the_shortest(self, months) -> None:
        starts = [BORN + datetime.timedelta(days=offset) for offset in range(0, 1500, 7)]
        lasting = [days_between(begin, add_months(begin, months)) for begin in starts]
        assert fewest_days(months) <= min(lasting)
        assert most_days(months) >= max(lasting)
        assert most_days(months) - fewest_days(months) <= 3

    def test_from_an_operation_still_to_come_a_year_is_its_longest(self, protocol) -> None:
        timeline = windows_of(five_year_old(SHALLOW_AND_BENT), protocol)
        waited = start(timeline, "femoral_lengthening_1") - start(timeline, "hip_preparation_1")
        out = start(timeline, "hardware_removal_1") - start(timeline, "proximal_femoral_osteotomy_1")
        assert out == most_days(12)
        assert waited == most_days(12) + most_days(3)

    def test_from_an_operation_done_a_year_is_that_of_the_calendar(self, protocol) -> None:
        done = operation("hip_preparation", at_age(4.9))
        timeline = windows_of(five_year_old(operations=(done,)), protocol)
        assert start(timeline, "femoral_lengthening_1") == day(add_months(done.date, 12))

    def test_ages_are_counted_on_the_calendar_from_birth(self, protocol) -> None:
        record = child(visit(at_age(1), {"center_edge_angle_deg": 28.0, "hip_joint": "reduced"}))
        timeline = windows_of(record, protocol, on=at_age(1) + datetime.timedelta(days=1))
        assert start(timeline, "femoral_lengthening_1") == day(add_months(BORN, 36))

    def test_the_last_day_is_counted_on_the_calendar_too(self, protocol) -> None:
        window = windows_of(five_year_old(), protocol).start("femoral_lengthening_4")
        assert window.latest_day == day(add_months(BORN, 240))


class TestWindows:
    def test_no_operation_within_the_lead_of_the_plan(self, protocol) -> None:
        lead = int(protocol.number("planning_lead_days"))
        timeline = windows_of(five_year_old(SHALLOW_AND_BENT), protocol)
        assert start(timeline, "hip_preparation_1") == day(ON) + lead

    def test_what_is_no_operation_may_start_today(self, protocol) -> None:
        assert start(windows_of(five_year_old(), protocol), "extension_prosthesis") == day(ON)

    def test_what_is_done_has_the_day_on_which_it_was_done(self, protocol) -> None:
        done = operation("hip_preparation", at_age(3))
        window = windows_of(five_year_old(operations=(done,)), protocol).start("hip_preparation_1")
        assert (window.earliest_day, window.latest_day) == (day(done.date), day(done.date))

    def test_lengthenings_of_one_bone_stand_three_years_apart(self, protocol) -> None:
        timeline = windows_of(five_year_old(), protocol)
        first, second = (start(timeline, f"femoral_lengthening_{n}") for n in (1, 2))
        assert second - first == most_days(36)

    def test_the_third_waits_for_the_spurt_by_sex(self, protocol) -> None:
        # Journeau 2016 (two lengthenings before the spurt), Dimeglio 2011 (girls 11, boys 13 years).
        for sex, months in (("girl", 132), ("boy", 156)):
            record = child(visit(at_age(3), {"center_edge_angle_deg": 28.0, "hip_joint": "reduced"}), sex=sex)
            timeline = windows_of(record, protocol, on=at_age(3))
            assert start(timeline, "femoral_lengthening_3") == day(add_months(BORN, months))

    def test_numbers_that_may_follow_leave_the_windows_before_them_alone(self, protocol) -> None:
        """A child of ten may still be lengthened once at twelve, though a second and third would then come too late."""
        timeline = windows_of(five_year_old(), protocol)
        last = timeline.start("femoral_lengthening_4").latest_day
        assert timeline.start("femoral_lengthening_3").latest_day == last
        assert timeline.start("femoral_lengthening_1").latest_day == last
        gap = (
            timeline.start("femoral_lengthening_2").earliest_day - timeline.start("femoral_lengthening_1").earliest_day
        )
        assert gap >= most_days(36) - 2

    def test_the_two_bones_do_not_push_each_other_before_a_course_is_chosen(self, protocol) -> None:
        timeline = windows_of(five_year_old(), protocol, predicted=BOTH)
        assert start(timeline, "femoral_lengthening_1") == day(ON) + int(protocol.number("planning_lead_days"))
        assert start(timeline, "tibial_lengthening_1") == day(ON) + int(protocol.number("planning_lead_days"))

    def test_a_stage_that_is_not_in_the_graph_has_no_window(self, protocol) -> None:
        assert windows_of(five_year_old(), protocol).start("massage") is None


class TestTooLate:
    """Lengthenings for which no time is left are named with the rules that leave none."""

    def test_at_eighteen_one_is_left_and_the_second_is_impossible(self, protocol) -> None:
        record = child(visit(at_age(18), {"center_edge_angle_deg": 28.0, "hip_joint": "reduced"}))
        timeline = windows_of(record, protocol, on=at_age(18))
        assert timeline.start("femoral_lengthening_1") is not None
        assert list(timeline.impossible) == ["femoral_lengthening_2"]
        conflict = timeline.impossible["femoral_lengthening_2"]
        assert {"femoral_lengthening.three_years_apart", "femoral_lengthening.before_twenty"} <= set(conflict.rules)
        assert conflict.short_by_days > 0

    def test_past_twenty_none_is_left(self, protocol) -> None:
        record = child(visit(at_age(20.5), {"center_edge_angle_deg": 28.0, "hip_joint": "reduced"}))
        timeline = windows_of(record, protocol, on=at_age(20.5))
        assert list(timeline.impossible) == ["femoral_lengthening_1"]
        assert timeline.start("femoral_lengthening_1") is None


class TestDuration:
    # Isaac D et al. 2008: 36.5 days a cm (41 femora); Depaoli A et al. 2023: 55 days a cm (tibia).
    @pytest.mark.parametrize(("bone", "mm", "days"), [("femur", 50, 182), ("femur", 80, 292), ("tibia", 50, 275)])
    def test_days_with_a_device_follow_the_amount(self, bone, mm, days, protocol) -> None:
        assert device_days(protocol, bone, mm) == days
