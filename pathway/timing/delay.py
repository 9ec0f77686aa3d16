"""What follows when one stage comes later than planned: nothing at first, then other stages move, then it is lost.

It knows no medicine: links between events, the days planned, and the days on which operations may fall. A
stage that shares its day with another, or starts on the day on which it ends, goes along with it.
"""

from __future__ import annotations

import datetime
from collections import deque
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache

from pathway.network import Conflict, Link, windows
from pathway.timing.calendar import Calendar, free_day
from pathway.timing.rule_links import ORIGIN, SLIP_DAYS, examination

LONGEST_DAYS = 30 * 365
"""Nothing is delayed by more: a plan ends long before."""
DELAYED = "the delay"
ByEvent = tuple[dict[str, list[Link]], dict[str, list[Link]]]
"""The links that start at an event, and those that end at it."""


@dataclass(frozen=True, slots=True)
class Schedule:
    """A timetable as the network sees it: links of the rules, the day after birth of each event, the operations."""

    links: tuple[Link, ...]
    days: Mapping[str, int]
    operations: frozenset[str]
    born: datetime.date
    calendar: Calendar

    def at(self, days: Mapping[str, int]) -> Schedule:
        """Return the same schedule with other days."""
        return replace(self, days=days)

    def free(self, event: str, day: int) -> int:
        """Return the first day from `day` on on which the event may fall."""
        if event not in self.operations:
            return day
        first = self.born.toordinal()  # whole numbers: a date with its arithmetic takes most of the time of a delay
        return free_day(datetime.date.fromordinal(first + day), self.calendar).toordinal() - first


@dataclass(frozen=True, slots=True)
class Delay:
    """What a delay of one stage does, in days after its date.

    `free_days` is the most that moves no other stage, `moves` has each stage that moves after that with the
    most that leaves it where it is (without what only starts where another one ends), `last_days` the most that
    the rules and the calendar allow; None: without end. `lost` is the conflict of the rules after that, None
    where the calendar is in the way.
    """

    free_days: int | None
    moves: tuple[tuple[str, int], ...]
    last_days: int | None
    lost: Conflict | None = None


def stage_of(event: str) -> str:
    """Return the stage to which an event belongs."""
    return event.rpartition(".")[0]


def delay_of(stage: str, schedule: Schedule) -> Delay:
    """Return what a delay of a stage that is still to come does to the rest of the schedule."""
    event = f"{stage}.start"
    planned = schedule.days[event]
    own = sitting(schedule, stage)
    own |= {examination(other) for other in own}
    by_event = _by_event(schedule.links)

    @cache  # each stage that moves is looked for among the same days
    def later(days: int) -> Mapping[str, int] | None:
        return _pushed(schedule, event, planned + days, by_event)

    last = _most(lambda days: later(days) is not None)
    at_last = later(last) or schedule.days
    movers = {
        stage_of(other)
        for other, day in at_last.items()
        if day != schedule.days[other] and other.endswith(".start") and stage_of(other) not in own
    }
    movers = {name for name in movers - followers(schedule) if not name.startswith(examination(""))}

    def stays(name: str) -> Callable[[int], bool]:
        start = f"{name}.start"
        return lambda days: (later(days) or at_last)[start] == schedule.days[start]

    in_order = sorted(movers, key=lambda name: (schedule.days[f"{name}.start"], name))
    moves = sorted(((name, _most(stays(name), last)) for name in in_order), key=lambda item: item[1])
    endless = last >= LONGEST_DAYS
    free = moves[0][1] if moves else None if endless else last
    lost = None if endless else _lost(event, planned + last, schedule)
    return Delay(free, tuple(moves), None if endless else last, lost)


def _lost(event: str, last_day: int, schedule: Schedule) -> Conflict | None:
    """Return the rules that leave no day after the last one, where weekends and the like are all that lies between."""
    beyond = Link(ORIGIN, event, last_day + SLIP_DAYS, None, DELAYED)
    answer = windows([*schedule.links, beyond], ORIGIN)
    return answer if isinstance(answer, Conflict) else None


def followers(schedule: Schedule) -> frozenset[str]:
    """Return the stages that start on the day on which another one ends."""
    tied = (link for link in schedule.links if link.at_most_days == 0 and link.at_least_days == 0)
    return frozenset(stage_of(link.later) for link in tied if link.earlier.endswith(".end"))


def sitting(schedule: Schedule, stage: str) -> frozenset[str]:
    """Return the stage with all that goes along with it: the same day, or the day on which it ends."""
    pairs = [
        (stage_of(link.earlier), stage_of(link.later))
        for link in schedule.links
        if link.at_most_days == 0 and link.at_least_days == 0
    ]
    found = {stage}
    while more := {name for pair in pairs if found & set(pair) for name in pair} - found - {""}:
        found |= more
    return frozenset(found)


def pushed(schedule: Schedule, event: str, day: int) -> Mapping[str, int] | None:
    """Return the earliest days from the planned ones on with `event` not before `day`, or None when there are none.

    Nothing comes earlier than planned; the origin does not move.
    """
    return _pushed(schedule, event, day, _by_event(schedule.links))


def _pushed(schedule: Schedule, event: str, day: int, by_event: ByEvent) -> Mapping[str, int] | None:
    days = dict(schedule.days)
    starting, ending = by_event
    waiting = deque([event])
    days[event] = schedule.free(event, max(day, days[event]))
    bound = days[event] + LONGEST_DAYS
    while waiting:
        here = waiting.popleft()
        if here == ORIGIN or days[here] > bound:
            return None
        later = [(link.later, days[here] + (link.at_least_days or 0)) for link in starting.get(here, ())]
        earlier = [(link.earlier, days[here] - (link.at_most_days or 0)) for link in ending.get(here, ())]
        for other, least in (*later, *earlier):
            if days[other] < least:
                days[other] = schedule.free(other, least)
                waiting.append(other)
    return days


def _by_event(links: Iterable[Link]) -> ByEvent:
    starting: dict[str, list[Link]] = {}
    ending: dict[str, list[Link]] = {}
    for link in links:
        if link.at_least_days is not None:
            starting.setdefault(link.earlier, []).append(link)
        if link.at_most_days is not None:
            ending.setdefault(link.later, []).append(link)
    return starting, ending


def _most(holds: Callable[[int], bool], most: int = LONGEST_DAYS) -> int:
    """Return the greatest whole number from 0 to `most` for which `holds`; it holds for 0 and up to some number."""
    low, high = 0, most
    while low < high:
        middle = (low + high + 1) // 2
        if holds(middle):
            low = middle
        else:
            high = middle - 1
    return low
