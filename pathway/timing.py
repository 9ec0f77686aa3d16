"""Months of the protocol into days of the network, the network into windows, a course into dates.

*At least n months* becomes the most days that n calendar months can last and *at most n months* the fewest,
so that rounding never shortens a safety interval; where the anchor date is known (birth, an operation done)
the calendar itself is used.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from pathway.days import add_months, age_years, day_at_age, days_between, fewest_days, most_days
from pathway.network import Conflict, Link, Window, windows
from pathway.protocol.model import AgeWindow, Protocol
from pathway.record import Record
from pathway.staging import StageGraph, StageNeed

ORIGIN = "birth"
TODAY = "today"
LEAD = "planning_lead_days"
CHOSEN = "age chosen for the course"
BLOCKED = "dates blocked"
LAST_USEFUL = "last useful day"
WORKDAYS = 5
SLIP_DAYS = 14
"""How far a date may slip past the age chosen for it, off weekends and rounded months, before it counts as late."""


@dataclass(frozen=True, slots=True)
class Timeline:
    """Windows of every event in days after birth, and the lengthenings for which no time is left."""

    windows: Mapping[str, Window]
    impossible: Mapping[str, Conflict]

    def start(self, stage: str) -> Window | None:
        """Return the window of a stage's start, or None when the stage has no place in the network."""
        return self.windows.get(f"{stage}.start")


@dataclass(frozen=True, slots=True)
class Placed:
    """What a course fixes about a stage: the age it aims at, the last useful one, the amount of a lengthening."""

    age_years: float | None = None
    amount_mm: float | None = None
    latest_age_years: float | None = None


@dataclass(frozen=True, slots=True)
class Timetable:
    """Dates and windows of the stages of one course."""

    start: Mapping[str, datetime.date]
    end: Mapping[str, datetime.date]
    window: Mapping[str, tuple[datetime.date, datetime.date | None]] = field(default_factory=dict)


def stage_windows(graph: StageGraph, record: Record, protocol: Protocol, on: datetime.date) -> Timeline | Conflict:
    """Return the windows that the rules leave, whatever course is chosen, or the rules that contradict.

    Lengthenings are added one by one while the network stays consistent; those that no longer fit are
    `impossible`, each with its conflict.
    """
    builder = _Links(graph, record, protocol, on)
    fixed = [need for need in graph.needs if need.need in ("done", "under_way", "planned")]
    placed = {need.id: need for need in fixed if not _optional_follower(need, graph)}
    solved = windows(builder.all(placed, {}), ORIGIN)
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
            solved = {**solved, **answer}
    return Timeline(solved, impossible)


def timetable(
    graph: StageGraph,
    course: Mapping[str, Placed],
    record: Record,
    protocol: Protocol,
    on: datetime.date,
) -> Timetable | Conflict:
    """Return dates for the stages of a course: the earliest days at or after the ages chosen and preferred.

    `course` names every stage of the course that is not done; the dates keep all rules, lie on working days
    and outside blocked dates. Conflict when the rules leave no solution.
    """
    builder = _Links(graph, record, protocol, on)
    placed = {need.id: need for need in graph.needs if need.need in ("done", "under_way") or need.id in course}
    amounts = {stage: item.amount_mm for stage, item in course.items() if item.amount_mm is not None}
    links = [*builder.all(placed, amounts), *builder.in_order(placed, course)]
    links.extend(builder.last_useful(course))
    allowed = windows(links, ORIGIN)
    if isinstance(allowed, Conflict):
        return allowed
    for stage, item in course.items():
        if item.age_years is not None:
            day = days_between(record.child.date_of_birth, day_at_age(record.child.date_of_birth, item.age_years))
            links.append(Link(ORIGIN, f"{stage}.start", day, None, CHOSEN))
    solved = windows(links, ORIGIN)
    if isinstance(solved, Conflict):
        return solved
    for stage in course:
        for wish in builder.preferred_from(placed[stage], course[stage].age_years is not None):
            trial = windows([*links, wish], ORIGIN)
            if not isinstance(trial, Conflict):
                links.append(wish)
                solved = trial
    solved = _off_blocked_days(links, solved, placed, course, record)
    if isinstance(solved, Conflict):
        return solved
    return _as_dates(solved, allowed, placed, record.child.date_of_birth)


def device_days(protocol: Protocol, bone: str, amount_mm: float) -> int:
    """Return the expected days from operation to removal of the device for an amount (published index)."""
    return round(protocol.number(f"{bone}_days_per_cm") * amount_mm / 10)


def _optional_follower(need: StageNeed, graph: StageGraph) -> bool:
    return need.need == "planned" and any(
        edge.later == need.id and graph.need(edge.earlier).need == "possible" for edge in graph.edges
    )


class _Links:
    """Builds the links of a set of placed stages."""

    def __init__(self, graph: StageGraph, record: Record, protocol: Protocol, on: datetime.date) -> None:
        self.graph, self.record, self.protocol, self.on = graph, record, protocol, on
        self.born = record.child.date_of_birth
        self.today = (on - self.born).days

    def all(self, placed: Mapping[str, StageNeed], amounts: Mapping[str, float]) -> list[Link]:
        links = [Link(ORIGIN, TODAY, self.today, self.today, "the day of the plan")]
        for need in placed.values():
            links.extend(self._own(need, amounts))
            links.extend(self._ages(need))
        links.extend(self._intervals(placed))
        return links

    def _own(self, need: StageNeed, amounts: Mapping[str, float]) -> Iterator[Link]:
        start, end = f"{need.id}.start", f"{need.id}.end"
        if need.done_on is not None:
            day = (need.done_on - self.born).days
            yield Link(ORIGIN, start, day, day, f"{need.id} was done on {need.done_on}")
        else:
            lead = int(self.protocol.number(LEAD)) if need.stage.operation else 0
            yield Link(TODAY, start, lead, None, LEAD)
        if need.done_on is not None and need.ended_on is not None:
            days = (need.ended_on - need.done_on).days
            yield Link(start, end, days, days, f"{need.id} ended on {need.ended_on}")
            return
        yield Link(start, end, self._duration(need, amounts), None, f"duration of {need.id}")
        if need.done_on is not None:
            yield Link(TODAY, end, 0, None, f"{need.id} is still under way")

    def _duration(self, need: StageNeed, amounts: Mapping[str, float]) -> int:
        bone = need.stage.bone
        if bone is None:
            return most_days(need.stage.duration_months or 0)
        amount = amounts.get(need.id)
        if amount is None and need.operation is not None:
            amount = need.operation.achieved_mm
        return device_days(self.protocol, bone, amount or self.protocol.number("least_lengthening_mm"))

    def _ages(self, need: StageNeed) -> Iterator[Link]:
        if need.done_on is None:
            for rule in self.age_windows(need, hard=True):
                yield self._from_birth(need, rule.at_least_months, rule.at_most_months, rule.id)

    def age_windows(self, need: StageNeed, *, hard: bool) -> Iterator[AgeWindow]:
        return age_windows(need, self.record.child.sex, self.protocol, hard=hard)

    def _from_birth(self, need: StageNeed, least: int | None, most: int | None, rule: str) -> Link:
        low = None if least is None else days_between(self.born, add_months(self.born, least))
        high = None if most is None else days_between(self.born, add_months(self.born, most))
        return Link(ORIGIN, f"{need.id}.start", low, high, rule)

    def preferred_from(self, need: StageNeed, chosen: bool) -> Iterator[Link]:
        """Return the wish to wait for the preferred age, for stages whose age the course leaves open."""
        if not chosen and need.done_on is None:
            for rule in self.age_windows(need, hard=False):
                if rule.at_least_months is not None:
                    yield self._from_birth(need, rule.at_least_months, None, rule.id)

    def _intervals(self, placed: Mapping[str, StageNeed]) -> Iterator[Link]:
        for edge in self.graph.edges:
            if edge.rule.either_order or edge.earlier not in placed or edge.later not in placed:
                continue
            yield self._interval(
                placed[edge.earlier],
                edge.earlier_point,
                placed[edge.later],
                edge.later_point,
                edge.rule.id,
                edge.rule.at_least_months,
                edge.rule.at_most_months,
            )

    def _interval(
        self,
        earlier: StageNeed,
        point: str,
        later: StageNeed,
        later_point: str,
        rule: str,
        least: int | None,
        most: int | None,
    ) -> Link:
        anchor = earlier.done_on if point == "start" else earlier.ended_on
        if anchor is not None:
            low = None if least is None else days_between(anchor, add_months(anchor, least))
            high = None if most is None else days_between(anchor, add_months(anchor, most))
        else:
            low = None if least is None else most_days(least)
            high = None if most is None else fewest_days(most)
        return Link(f"{earlier.id}.{point}", f"{later.id}.{later_point}", low, high, rule)

    def in_order(self, placed: Mapping[str, StageNeed], course: Mapping[str, Placed]) -> Iterator[Link]:
        """Return the links of either-order rules, in the order of the ages that the course chose."""
        for edge in self.graph.edges:
            if not edge.rule.either_order or edge.earlier not in placed or edge.later not in placed:
                continue
            one, two = placed[edge.earlier], placed[edge.later]
            if self._age(two, course) < self._age(one, course):
                one, two = two, one
            yield self._interval(one, "end", two, "start", edge.rule.id, edge.rule.at_least_months, None)

    def last_useful(self, course: Mapping[str, Placed]) -> Iterator[Link]:
        """Return the links that keep a stage from coming when it is of no more use."""
        for stage, item in course.items():
            if item.latest_age_years is not None:
                day = days_between(self.born, day_at_age(self.born, item.latest_age_years))
                yield Link(ORIGIN, f"{stage}.start", None, day + SLIP_DAYS, f"{LAST_USEFUL} of {stage}")

    def _age(self, need: StageNeed, course: Mapping[str, Placed]) -> float:
        if need.done_on is not None:
            return age_years(self.born, need.done_on)
        age = course[need.id].age_years
        return float("inf") if age is None else age


def age_windows(need: StageNeed, sex: str, protocol: Protocol, *, hard: bool) -> Iterator[AgeWindow]:
    """Return the age rules, hard or preferred, that apply to one numbered stage of a child."""
    for rule in protocol.age_windows:
        if (
            rule.stage == need.stage.id
            and rule.hard == hard
            and rule.number in (None, need.number)
            and rule.sex in (None, sex)
        ):
            yield rule


def _off_blocked_days(
    links: list[Link],
    solved: Mapping[str, Window],
    placed: Mapping[str, StageNeed],
    course: Mapping[str, Placed],
    record: Record,
) -> Mapping[str, Window] | Conflict:
    born = record.child.date_of_birth
    operations = [stage for stage in course if placed[stage].stage.operation]
    while True:
        moved = False
        for stage in operations:
            day = born + datetime.timedelta(days=solved[f"{stage}.start"].earliest_day)
            free = free_day(day, record)
            if free != day:
                links.append(Link(ORIGIN, f"{stage}.start", (free - born).days, None, BLOCKED))
                moved = True
        if not moved:
            return solved
        answer = windows(links, ORIGIN)
        if isinstance(answer, Conflict):
            return answer
        solved = answer


def free_day(day: datetime.date, record: Record) -> datetime.date:
    """Return the first working day from `day` on that the family has not blocked."""
    blocks = [
        (d.from_date, d.to_date)
        for d in record.decisions
        if d.kind == "block_dates" and d.from_date is not None and d.to_date is not None
    ]
    while True:
        block = next((to for start, to in blocks if start <= day <= to), None)
        if block is not None:
            day = block + datetime.timedelta(days=1)
        elif day.weekday() >= WORKDAYS:
            day += datetime.timedelta(days=1)
        else:
            return day


def _as_dates(
    solved: Mapping[str, Window],
    allowed: Mapping[str, Window],
    placed: Mapping[str, StageNeed],
    born: datetime.date,
) -> Timetable:
    def date(days: int) -> datetime.date:
        return born + datetime.timedelta(days=days)

    start = {stage: date(solved[f"{stage}.start"].earliest_day) for stage in placed}
    end = {stage: date(solved[f"{stage}.end"].earliest_day) for stage in placed}
    window = {}
    for stage in placed:
        span = allowed[f"{stage}.start"]
        window[stage] = (date(span.earliest_day), None if span.latest_day is None else date(span.latest_day))
    return Timetable(start, end, window)
