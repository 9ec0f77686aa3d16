"""A course into dates on days of the calendar, by the links of the rules."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from pathway.days import day_at_age, days_between
from pathway.network import Conflict, Link, Window, windows
from pathway.preferences import Wishes, wishes_of
from pathway.protocol.question import Question
from pathway.rule_engine.graph import ChildGraph, StageItem
from pathway.timing.calendar import Calendar, calendar_of, free_day, holiday_on, next_holiday_days
from pathway.timing.delay import Schedule, followers, pushed, sitting, stage_of
from pathway.timing.rule_links import ORIGIN, Placed, RuleLinks

CHOSEN = "age chosen for the course"
BLOCKED = "dates blocked"


@dataclass(frozen=True, slots=True)
class HolidayWish:
    """What became of the wish for a school holiday: the holiday met, or the next one and what it would have moved.

    `tried` is None where no holiday with a free day is known after the date; `would_move` is empty where the
    rules, the calendar or other wishes leave no day in it.
    """

    met: str | None = None
    tried: str | None = None
    tried_from: datetime.date | None = None
    would_move: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class LeftAlone:
    """What an operation may not disturb when it moves into a holiday: ages chosen, other wishes for devices."""

    chosen: frozenset[str]
    lengthenings: frozenset[str]
    wishes: Wishes

    def holds(self, schedule: Schedule, later: Mapping[str, int]) -> bool:
        """Return whether every lengthening that moves still keeps to the wishes for its device."""

        def day(event: str) -> datetime.date:
            return schedule.born + datetime.timedelta(days=later[event])

        moved = (one for one in self.lengthenings if later[f"{one}.start"] != schedule.days[f"{one}.start"])
        return all(self.wishes.device_ends_in_time(day(f"{one}.start"), day(f"{one}.end")) for one in moved)


@dataclass(frozen=True, slots=True)
class Timetable:
    """Dates and windows of the stages of one course; `schedule` is what a delay is reckoned from."""

    start: Mapping[str, datetime.date]
    end: Mapping[str, datetime.date]
    window: Mapping[str, tuple[datetime.date, datetime.date | None]] = field(default_factory=dict)
    wishes: Mapping[str, HolidayWish] = field(default_factory=dict)
    schedule: Schedule | None = None


def timetable(
    graph: ChildGraph, course: Mapping[str, Placed], question: Question, mature_age_years: float | None = None
) -> Timetable | Conflict:
    """Return dates for the stages of a course: the earliest days at or after the ages chosen and preferred.

    `course` names every stage of the course that is not done; the dates keep all rules and operations lie on
    days of the calendar. Where the family wishes for school holidays, an operation moves on into the next one
    if no other stage whose age the course chose has to move for it. Conflict when the rules leave no solution.
    """
    builder = RuleLinks(graph, question, course, mature_age_years=mature_age_years)
    calendar = calendar_of(question.record, question.protocol)
    placed = {item.id: item for item in graph.stages if item.begun or item.id in course}
    amounts = {stage: item.amount_mm for stage, item in course.items() if item.amount_mm is not None}
    rules = [*builder.all(placed, amounts), *builder.in_order(placed, course)]
    rules += [*builder.same_sitting(course), *builder.clear_of_frames(placed, course)]
    allowed = windows(rules, ORIGIN)
    if isinstance(allowed, Conflict):
        return allowed
    links = [*rules, *_chosen_ages(course, question.record.child.date_of_birth)]
    solved = windows(links, ORIGIN)
    if isinstance(solved, Conflict):
        return solved
    for stage in course:
        for wish in builder.preferred_from(placed[stage], course[stage].age_years is not None):
            trial = windows([*links, wish], ORIGIN)
            if not isinstance(trial, Conflict):
                links.append(wish)
                solved = trial
    operations = frozenset(f"{stage}.start" for stage in course if placed[stage].stage.operation)
    solved = _on_free_days(links, solved, operations, calendar, question.record.child.date_of_birth)
    if isinstance(solved, Conflict):
        return solved
    days = {event: window.earliest_day for event, window in solved.items()}
    schedule = Schedule(tuple(rules), days, operations, question.record.child.date_of_birth, calendar)
    wishes: dict[str, HolidayWish] = {}
    if calendar.wishes_holidays:
        chosen = frozenset(stage for stage, item in course.items() if item.age_years is not None)
        bones = frozenset(item.id for item in placed.values() if item.stage.bone is not None)
        schedule, wishes = _into_holidays(schedule, LeftAlone(chosen, bones, wishes_of(question.record)))
    return _as_dates(schedule, allowed, placed, wishes)


def _chosen_ages(course: Mapping[str, Placed], born: datetime.date) -> Iterator[Link]:
    for stage, item in course.items():
        # What shares a sitting comes on the day of the other stage.
        if item.age_years is not None and item.same_day_as is None:
            day = days_between(born, day_at_age(born, item.age_years))
            yield Link(ORIGIN, f"{stage}.start", day, None, CHOSEN)


def _on_free_days(
    links: list[Link],
    solved: Mapping[str, Window],
    operations: frozenset[str],
    calendar: Calendar,
    born: datetime.date,
) -> Mapping[str, Window] | Conflict:
    """Return the windows with every operation's earliest day moved on to a day of the calendar."""
    while True:
        moved = False
        for event in sorted(operations):
            day = born + datetime.timedelta(days=solved[event].earliest_day)
            free = free_day(day, calendar)
            if free != day:
                links.append(Link(ORIGIN, event, (free - born).days, None, BLOCKED))
                moved = True
        if not moved:
            return solved
        answer = windows(links, ORIGIN)
        if isinstance(answer, Conflict):
            return answer
        solved = answer


def _into_holidays(schedule: Schedule, kept: LeftAlone) -> tuple[Schedule, dict[str, HolidayWish]]:
    """Move operations, the first ones first, into the next school holiday where no other chosen age has to move for it.

    What starts where another stage ends (a device comes off) is left where it is.
    """
    wishes: dict[str, HolidayWish] = {}
    tied = {f"{stage}.start" for stage in followers(schedule)}
    for event in sorted(schedule.operations - tied, key=lambda event: (schedule.days[event], event)):
        schedule, wishes[stage_of(event)] = _into_holiday(schedule, event, kept)
    return schedule, wishes


def _into_holiday(schedule: Schedule, event: str, kept: LeftAlone) -> tuple[Schedule, HolidayWish]:
    date = schedule.born + datetime.timedelta(days=schedule.days[event])
    if holiday := holiday_on(date, schedule.calendar):
        return schedule, HolidayWish(met=holiday.name)
    day, holiday = next(next_holiday_days(date, schedule.calendar), (None, None))
    if day is None or holiday is None:
        return schedule, HolidayWish()
    later = pushed(schedule, event, (day - schedule.born).days)
    if later is None or later[event] != (day - schedule.born).days or not kept.holds(schedule, later):
        return schedule, HolidayWish(tried=holiday.name, tried_from=day)
    apart = kept.chosen - sitting(schedule, stage_of(event))
    others = {stage for stage in apart if later[f"{stage}.start"] != schedule.days[f"{stage}.start"]}
    if others:
        return schedule, HolidayWish(tried=holiday.name, tried_from=day, would_move=tuple(sorted(others)))
    return schedule.at(later), HolidayWish(met=holiday.name)


def _as_dates(
    schedule: Schedule,
    allowed: Mapping[str, Window],
    placed: Mapping[str, StageItem],
    wishes: Mapping[str, HolidayWish],
) -> Timetable:
    def date(days: int) -> datetime.date:
        return schedule.born + datetime.timedelta(days=days)

    start = {stage: date(schedule.days[f"{stage}.start"]) for stage in placed}
    end = {stage: date(schedule.days[f"{stage}.end"]) for stage in placed}
    window = {}
    for stage in placed:
        span = allowed[f"{stage}.start"]
        window[stage] = (date(span.earliest_day), None if span.latest_day is None else date(span.latest_day))
    return Timetable(start, end, window, wishes, schedule)
