"""A rule about later growth binds while the bone grows, and gives way to a year once it hardly does."""

from __future__ import annotations

import datetime

import pytest

from pathway.days import add_months, days_between
from pathway.network import Conflict
from pathway.protocol.model import Bone, Protocol
from pathway.protocol.question import Question
from pathway.timing.rule_links import Placed, device_days
from pathway.timing.windows import Timeline, stage_windows
from tests.rule_engine.graphs import graph_of
from tests.sample import BORN, HEALTHY, LEGS, at_age, child, operation, visit
from tests.timing.schedules import Course, dates

ON = at_age(14.0)
BEFORE = at_age(13.0)
FIRST, SECOND, THIRD = (f"femoral_lengthening_{number}" for number in (1, 2, 3))


def teenager(**details: object):
    first = operation("femoral_lengthening", BEFORE, achieved_mm=40.0, device_removed=add_months(BEFORE, 6), **details)
    return child(visit(ON, {**HEALTHY, **LEGS, "regenerate": "remodelled"}), operations=(first,))


def windows(protocol: Protocol, grown_years: float | None) -> Timeline:
    def grown(_bone: Bone, mm: float) -> float:
        assert mm == 20
        return grown_years or 0.0

    record = teenager()
    asked = Question(record, protocol, ON)
    given = grown if grown_years is not None else None
    timeline = stage_windows(graph_of(record, protocol, on=ON), asked, mature_age_years=16.0, grown_from_years=given)
    assert not isinstance(timeline, Conflict)
    return timeline


def earliest(timeline: Timeline, stage: str) -> int:
    window = timeline.start(stage)
    assert window is not None
    return window.earliest_day


def day(date: datetime.date) -> int:
    return days_between(BORN, date)


def test_without_growth_known_three_years_bind(protocol: Protocol) -> None:
    assert earliest(windows(protocol, None), SECOND) == day(add_months(BEFORE, 36))


@pytest.mark.parametrize(("grown_years", "expected"), [(15.0, 15.0), (15.75, 15.75), (19.0, 16.0), (13.5, 14.0)])
def test_the_window_opens_once_grown_or_after_three_years_and_never_within_one(
    grown_years: float, expected: float, protocol: Protocol
) -> None:
    assert earliest(windows(protocol, grown_years), SECOND) == pytest.approx(day(at_age(expected)), abs=28)


def second(age: float, grown: float | None, device: str | None = None) -> Course:
    return {
        SECOND: Placed(age, 50.0, device=device, grown_from_years=grown),
        "femoral_device_removal_2": Placed(),
        "hip_surveillance_2": Placed(),
    }


def test_dates_keep_three_years_in_a_bone_that_grows(protocol: Protocol) -> None:
    times = dates(teenager(), protocol, second(15.0, None), on=ON)
    assert times.start[SECOND] >= add_months(BEFORE, 36)


def test_dates_keep_a_year_in_a_bone_that_is_grown(protocol: Protocol) -> None:
    times = dates(teenager(), protocol, second(15.0, 14.5), on=ON)
    assert at_age(15.0) <= times.start[SECOND] < at_age(15.1)
    assert times.window[SECOND][0] >= at_age(14.5)


def test_a_nail_is_exchanged_in_one_sitting(protocol: Protocol) -> None:
    exchanged: Course = {**second(15.0, 14.5), "femoral_nail_removal_1": Placed(same_day_as=SECOND)}
    times = dates(teenager(device="femoral_internal_nail"), protocol, exchanged, on=ON)
    assert times.start["femoral_nail_removal_1"] == times.start[SECOND]


def test_a_nail_comes_out_a_year_after_it_went_in(protocol: Protocol) -> None:
    times = dates(teenager(device="femoral_internal_nail"), protocol, on=ON)
    assert times.start["femoral_nail_removal_1"] >= add_months(BEFORE, 12)


def test_the_days_of_a_tibial_nail_are_its_own(protocol: Protocol) -> None:
    # 2.5 months for each cm (Acta Orthop 2019;90:81-87), a month of 30.4375 days.
    assert device_days(protocol, "tibia", 40.0, "tibial_internal_nail") == round(4 * 2.5 * 30.4375)
    assert device_days(protocol, "tibia", 40.0) == device_days(protocol, "tibia", 40.0, "tibial_ring_frame")
