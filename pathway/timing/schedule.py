"""The links of the rules into windows, a course into dates on days of the calendar."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from pathway.days import day_at_age, days_between
from pathway.growth import growth_curve
from pathway.network import Conflict, Link, Window, windows
from pathway.preferences import Wishes, wishes_of
from pathway.protocol.model import Protocol
from pathway.record import Record
from pathway.rule_engine.staging import StageGraph, StageNeed
from pathway.timing.calendar import Calendar, calendar_of, free_day, holiday_on, next_holiday_days
from pathway.timing.delay import Schedule, followers, pushed, sitting, stage_of
from pathway.timing.rule_links import LAST_USEFUL as LAST_USEFUL
from pathway.timing.rule_links import LEAD as LEAD
from pathway.timing.rule_links import MATURITY, ORIGIN, RuleLinks, birthday, examination
from pathway.timing.rule_links import SLIP_DAYS as SLIP_DAYS
from pathway.timing.rule_links import TODAY as TODAY
from pathway.timing.rule_links import Placed as Placed
from pathway.timing.rule_links import age_windows as age_windows
from pathway.timing.rule_links import device_days as device_days

CHOSEN = "age chosen for the course"
BLOCKED = "dates blocked"


@dataclass(frozen=True, slots=True)
class Timeline:
    """Windows of every event in days after birth, and the lengthenings for which no time is left.

    Events are the starts and ends of stages (`hip_preparation_1.start`), the examinations before them, the
    birthdays that age rules name, and the end of growth.
    """

    windows: Mapping[str, Window]
    impossible: Mapping[str, Conflict]

    def start(self, stage: str) -> Window | None:
        """Return the window of a stage's start, or None when the stage has no place in the network."""
        return self.windows.get(f"{stage}.start")

    def end(self, stage: str) -> Window | None:
        """Return the window of a stage's end, or None when the stage has no place in the network."""
        return self.windows.get(f"{stage}.end")

    def examination(self, stage: str) -> Window | None:
        """Return the window of the examination before a stage, or None when it has no gate to come."""
        return self.start(examination(stage))

    def birthday(self, months: int) -> Window | None:
        """Return the day on which the child is so many months old, or None where no age rule names it."""
        return self.windows.get(birthday(months))

    @property
    def maturity(self) -> Window:
        """Return the day of skeletal maturity."""
        return self.windows[MATURITY]


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
class Kept:
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


def stage_windows(
    graph: StageGraph,
    record: Record,
    protocol: Protocol,
    on: datetime.date,
    *,
    mature_age_years: float | None = None,
) -> Timeline | Conflict:
    """Return the windows that the rules leave, whatever course is chosen, or the rules that contradict.

    Lengthenings are added one by one while the network stays consistent; those that no longer fit are
    `impossible`, each with its conflict. Without `mature_age_years` growth ends where the curve's does.
    """
    if mature_age_years is None:
        mature_age_years = growth_curve(protocol, record.child.sex).mature_age_years
    builder = RuleLinks(graph, record, protocol, on)
    known = list(builder.known_days(graph.needs, mature_age_years))
    fixed = [need for need in graph.needs if need.need in ("done", "under_way", "planned")]
    placed = {need.id: need for need in fixed if not _optional_follower(need, graph)}
    solved = windows([*known, *builder.all(placed, {})], ORIGIN)
    if isinstance(solved, Conflict):
        return solved
    impossible: dict[str, Conflict] = {}
    for kind in ("femoral_lengthening", "tibial_lengthening"):
        for need in graph.of_kind(kind):
            if need.need != "possible":
                continue
            trial = {**placed, need.id: need}
            # Each bone's lengthenings are tried alone: how the two bones share the years is the strategy's.
            links = builder.all({k: v for k, v in trial.items() if v.stage.bone in (None, need.stage.bone)}, {})
            answer = windows(links, ORIGIN)
            if isinstance(answer, Conflict):
                impossible[need.id] = answer
                break
            placed = trial
            # One more that may follow leaves what comes before it alone: it need not follow.
            solved = {**answer, **solved}
    return Timeline(solved, impossible)


def timetable(
    graph: StageGraph,
    course: Mapping[str, Placed],
    record: Record,
    protocol: Protocol,
    on: datetime.date,
) -> Timetable | Conflict:
    """Return dates for the stages of a course: the earliest days at or after the ages chosen and preferred.

    `course` names every stage of the course that is not done; the dates keep all rules and operations lie on
    days of the calendar. Where the family wishes for school holidays, an operation moves on into the next one
    if no other stage whose age the course chose has to move for it. Conflict when the rules leave no solution.
    """
    builder = RuleLinks(graph, record, protocol, on)
    calendar = calendar_of(record, protocol)
    placed = {need.id: need for need in graph.needs if need.need in ("done", "under_way") or need.id in course}
    amounts = {stage: item.amount_mm for stage, item in course.items() if item.amount_mm is not None}
    rules = [*builder.all(placed, amounts), *builder.in_order(placed, course), *builder.last_useful(course)]
    allowed = windows(rules, ORIGIN)
    if isinstance(allowed, Conflict):
        return allowed
    links = [*rules, *_chosen_ages(course, record.child.date_of_birth)]
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
    solved = _on_free_days(links, solved, operations, calendar, record.child.date_of_birth)
    if isinstance(solved, Conflict):
        return solved
    days = {event: window.earliest_day for event, window in solved.items()}
    schedule = Schedule(tuple(rules), days, operations, record.child.date_of_birth, calendar)
    wishes: dict[str, HolidayWish] = {}
    if calendar.wishes_holidays:
        chosen = frozenset(stage for stage, item in course.items() if item.age_years is not None)
        bones = frozenset(need.id for need in placed.values() if need.stage.bone is not None)
        schedule, wishes = _into_holidays(schedule, Kept(chosen, bones, wishes_of(record)))
    return _as_dates(schedule, allowed, placed, wishes)


def _optional_follower(need: StageNeed, graph: StageGraph) -> bool:
    return need.need == "planned" and any(
        edge.later == need.id and graph.need(edge.earlier).need == "possible" for edge in graph.edges
    )


def _chosen_ages(course: Mapping[str, Placed], born: datetime.date) -> Iterator[Link]:
    for stage, item in course.items():
        if item.age_years is not None:
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


def _into_holidays(schedule: Schedule, kept: Kept) -> tuple[Schedule, dict[str, HolidayWish]]:
    """Move operations, the first ones first, into the next school holiday where no other chosen age has to move for it.

    What starts where another stage ends (a device comes off) is left where it is.
    """
    wishes: dict[str, HolidayWish] = {}
    tied = {f"{stage}.start" for stage in followers(schedule)}
    for event in sorted(schedule.operations - tied, key=lambda event: (schedule.days[event], event)):
        schedule, wishes[stage_of(event)] = _into_holiday(schedule, event, kept)
    return schedule, wishes


def _into_holiday(schedule: Schedule, event: str, kept: Kept) -> tuple[Schedule, HolidayWish]:
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
    placed: Mapping[str, StageNeed],
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
