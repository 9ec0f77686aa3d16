"""What a later date of one stage does: nothing, then others move, then the rules leave no day."""

from __future__ import annotations

import datetime
import itertools

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from pathway.days import most_days
from pathway.network import Conflict, Link, windows
from pathway.timing.calendar import Calendar
from pathway.timing.delay import Schedule, delay_of, pushed, sitting
from tests.offenders import for_each
from tests.sample import SHALLOW_AND_BENT, five_year_old
from tests.timing.schedules import dates, lengthening

BORN = datetime.date(2020, 1, 6)
EVERY_DAY = Calendar(frozenset(range(7)))
WORKING_DAYS = Calendar(frozenset(range(5)))


def planned(links, operations=(), calendar=EVERY_DAY, **later) -> Schedule:
    """Return the schedule of the earliest days, `later` ones where they are given."""
    given = [Link("birth", f"{stage}.start", day, None, "planned") for stage, day in later.items()]
    solved = windows([*links, *given], "birth")
    assert not isinstance(solved, Conflict), solved
    days = {event: window.earliest_day for event, window in solved.items()}
    return Schedule(tuple(links), days, frozenset(operations), BORN, calendar)


def stage(name: str, lasting: int = 10) -> list[Link]:
    return [
        Link("birth", f"{name}.start", 0, None, "tie"),
        Link(f"{name}.start", f"{name}.end", lasting, None, f"duration of {name}"),
    ]


HIP_THEN_FEMUR = [
    *stage("hip"),
    *stage("femur", 200),
    Link("hip.start", "femur.start", 365, None, "a year"),
    Link("birth", "femur.start", None, 4000, "the end"),
]


def test_nothing_moves_until_the_room_before_the_next_stage_is_used_up() -> None:
    delay = delay_of("hip", planned(HIP_THEN_FEMUR, hip=700, femur=1300))
    assert delay.free_days == 1300 - 365 - 700
    assert delay.moves == (("femur", delay.free_days),)


def test_then_the_next_one_moves_until_its_last_day() -> None:
    delay = delay_of("hip", planned(HIP_THEN_FEMUR, hip=700, femur=1300))
    assert delay.last_days == 4000 - 365 - 700
    assert set(delay.lost.rules) == {"a year", "the end", "the delay"}


def test_the_last_stage_moves_nothing_and_is_lost_after_its_window() -> None:
    delay = delay_of("femur", planned(HIP_THEN_FEMUR, hip=700, femur=1300))
    assert (delay.free_days, delay.moves, delay.last_days) == (2700, (), 2700)


def test_what_nothing_waits_for_and_nothing_bounds_may_come_whenever() -> None:
    delay = delay_of("hip", planned(stage("hip"), hip=700))
    assert (delay.free_days, delay.moves, delay.last_days, delay.lost) == (None, (), None, None)


def test_stages_that_wait_for_the_next_move_with_it_later() -> None:
    links = [*HIP_THEN_FEMUR, *stage("tibia"), Link("femur.end", "tibia.start", 365, None, "a year between bones")]
    delay = delay_of("hip", planned(links, hip=700, femur=1300, tibia=2000))
    assert delay.moves == (("femur", 235), ("tibia", 235 + 2000 - 365 - 200 - 1300))


def test_what_shares_the_sitting_or_follows_at_the_end_goes_along_and_is_not_named() -> None:
    links = [
        *HIP_THEN_FEMUR,
        *stage("knee"),
        *stage("device_out"),
        Link("hip.start", "knee.start", 0, 0, "same sitting"),
        Link("femur.end", "device_out.start", 0, 0, "at its end"),
    ]
    schedule = planned(links, hip=700, femur=1300)
    assert sitting(schedule, "hip") == {"hip", "knee"}
    assert sitting(schedule, "femur") == {"femur", "device_out"}
    assert delay_of("hip", schedule).moves == (("femur", 235),)
    assert delay_of("femur", schedule).moves == ()


def test_an_operation_that_would_fall_on_a_weekend_is_put_off_to_the_monday() -> None:
    schedule = planned(HIP_THEN_FEMUR, {"hip.start", "femur.start"}, WORKING_DAYS, hip=700, femur=1302)
    moved = pushed(schedule, "hip.start", 705)
    assert (BORN + datetime.timedelta(days=705)).weekday() == 5
    assert moved["hip.start"] == 707
    assert moved["femur.start"] == 1302


def test_nothing_comes_earlier_than_planned_and_what_is_done_does_not_move() -> None:
    links = [*HIP_THEN_FEMUR, Link("birth", "hip.start", 700, 700, "hip was done")]
    schedule = planned(links, femur=1300)
    assert pushed(schedule, "hip.start", 500) == schedule.days
    assert pushed(schedule, "hip.start", 701) is None


def _random(seed: int) -> Schedule:
    """A random schedule of up to nine stages: some wait for each other, some are bounded, some share a day."""
    rng = np.random.default_rng(seed)
    names = [f"s{number}" for number in range(int(rng.integers(3, 10)))]
    links = [link for name in names for link in stage(name, int(rng.integers(0, 60)))]
    days = dict(zip(names, np.sort(rng.integers(100, 2500, len(names))).tolist(), strict=True))
    for one, other in itertools.pairwise(names):
        room = days[other] - days[one]
        if rng.random() < 0.7:
            links.append(Link(f"{one}.start", f"{other}.start", int(rng.integers(0, room + 1)), None, f"{one} {other}"))
        if rng.random() < 0.2:
            links.append(Link(f"{one}.start", f"{other}.start", None, room + int(rng.integers(0, 400)), "not after"))
        if rng.random() < 0.5:
            links.append(Link("birth", f"{other}.start", None, days[other] + int(rng.integers(0, 900)), "last"))
    return planned(links, **days)


def _solved_anew(schedule: Schedule, stage: str, slip: int):
    """The same question put to the network: every date at least as planned, one of them later."""
    kept = [Link("birth", event, day, None, "planned") for event, day in schedule.days.items() if event != "birth"]
    late = Link("birth", f"{stage}.start", schedule.days[f"{stage}.start"] + slip, None, "late")
    return windows([*schedule.links, *kept, late], "birth")


@for_each(range(150), parts=2)
def test_a_delay_inside_the_free_slack_changes_no_other_date_and_a_day_more_does(seed) -> None:
    schedule = _random(seed)
    for name in {event.partition(".")[0] for event in schedule.days} - {"birth"}:
        delay = delay_of(name, schedule)
        others = {f"{other.partition('.')[0]}.start" for other in schedule.days if other != "birth"}
        others -= {f"{same}.start" for same in sitting(schedule, name)}
        free = 5000 if delay.free_days is None else delay.free_days
        for slip in {0, free // 2, free}:
            answer = _solved_anew(schedule, name, slip)
            assert not isinstance(answer, Conflict)
            assert all(answer[event].earliest_day == schedule.days[event] for event in others)
        if delay.free_days is not None:
            beyond = _solved_anew(schedule, name, free + 1)
            assert isinstance(beyond, Conflict) or any(
                beyond[event].earliest_day != schedule.days[event] for event in others
            )


@for_each(range(150), parts=2)
def test_the_last_day_and_the_days_on_which_others_begin_to_move_are_those_of_the_network(seed) -> None:
    schedule = _random(1000 + seed)
    for name in {event.partition(".")[0] for event in schedule.days} - {"birth"}:
        delay = delay_of(name, schedule)
        if delay.last_days is not None:
            assert not isinstance(_solved_anew(schedule, name, delay.last_days), Conflict)
            assert isinstance(_solved_anew(schedule, name, delay.last_days + 1), Conflict)
            assert delay.lost is not None
        for mover, slip in delay.moves:
            start = f"{mover}.start"
            assert _solved_anew(schedule, name, slip)[start].earliest_day == schedule.days[start]
            beyond = _solved_anew(schedule, name, slip + 1)
            assert isinstance(beyond, Conflict) or beyond[start].earliest_day > schedule.days[start]


@given(st.integers(0, 5000), st.integers(0, 400), st.integers(0, 400))
def test_a_longer_delay_never_makes_anything_earlier(seed, slip, more) -> None:
    schedule = _random(seed)
    event = "s1.start"
    less, greater = (pushed(schedule, event, schedule.days[event] + days) for days in (slip, slip + more))
    if less is None:
        assert greater is None
    elif greater is not None:
        assert all(greater[other] >= day for other, day in less.items())


class TestOfAChild:
    """The same with the rules that ship: a hip prepared at five, a lengthening chosen for seven."""

    def test_the_implants_stay_longer_at_once_the_lengthenings_move_only_later(self, protocol) -> None:
        times = dates(five_year_old(SHALLOW_AND_BENT), protocol, lengthening(1, 8.0), lengthening(2, 11.5))
        delay = delay_of("hip_preparation_1", times.schedule)
        moves = dict(delay.moves)
        assert list(moves) == ["hardware_removal_1", "femoral_lengthening_1", "femoral_lengthening_2"]
        # The plate stays a year from the osteotomy, whenever that is; between its removal and eight years lies room.
        assert delay.free_days == moves["hardware_removal_1"] == 0
        room = (times.start["femoral_lengthening_1"] - times.start["hardware_removal_1"]).days - most_days(3)
        assert abs(moves["femoral_lengthening_1"] - room) <= 4

    def test_inside_the_free_slack_the_planner_itself_dates_all_others_the_same(self, protocol) -> None:
        record = five_year_old(SHALLOW_AND_BENT)
        course = (lengthening(1, 7.0), lengthening(2, 10.5))
        times = dates(record, protocol, *course)
        delay = delay_of("femoral_lengthening_1", times.schedule)
        later = pushed(times.schedule, "femoral_lengthening_1.start", _day(times, "femoral_lengthening_1", delay))
        second = "femoral_lengthening_2.start"
        assert delay.free_days > 0
        assert later[second] == times.schedule.days[second]
        assert later["femoral_device_removal_1.start"] > times.schedule.days["femoral_device_removal_1.start"]

    def test_past_twenty_the_lengthening_is_lost(self, protocol) -> None:
        times = dates(five_year_old(SHALLOW_AND_BENT), protocol, lengthening(1, 7.0))
        delay = delay_of("femoral_lengthening_1", times.schedule)
        assert "femoral_lengthening.before_twenty" in delay.lost.rules


def _day(times, stage, delay) -> int:
    return times.schedule.days[f"{stage}.start"] + delay.free_days
