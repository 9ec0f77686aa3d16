"""What a later date of a stage does, and what became of a wish about its date, in short sentences."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator
from itertools import groupby

from pathway.days import add_months, days_between, span_words
from pathway.network import Link
from pathway.protocol.model import Protocol
from pathway.record import Record
from pathway.rule_engine.graph import ChildGraph, StageItem
from pathway.timing.delay import Delay, stage_of
from pathway.timing.rule_links import ORIGIN, age_windows, latest_useful
from pathway.timing.schedule import HolidayWish

TOGETHER_DAYS = 31
"""Stages that begin to move within so many days of each other are named together."""
Label = Callable[[str], str]


def delay_sentences(
    delay: Delay,
    item: StageItem,
    graph: ChildGraph,
    date: datetime.date,
    label: Label,
    record: Record,
    protocol: Protocol,
    useful: datetime.date | None = None,
    own_last: datetime.date | None = None,
) -> tuple[str, ...]:
    """Return first how late changes nothing else, then what moves, then what is lost; `label` names a stage.

    `useful` is the day after which a growth arrest misses what is planned by more than the goal allows, `own_last` the
    last day of the stage's own window: of what comes after that only the loss is told.
    """
    leader = graph.leader(item.id)
    if leader is not None:
        return (f"Any delay makes {label(leader.id)} last longer.",)
    return (
        *_moving(delay, item, date, label, own_last),
        *_past_usual_age(delay, item, date, record, protocol),
        *_less(useful),
        *_ended(delay, item, date, label, record, protocol),
    )


def wish_words(wish: HolidayWish | None, label: Label) -> str:
    """Return what became of the family's wish for a school holiday, "" where there is none."""
    if wish is None:
        return ""
    if wish.met is not None:
        return f"in a school holiday ({wish.met}), as the family wished"
    if wish.tried is None:
        return "the family would like a school holiday; none with an operating day is known after this date"
    tried = f"the next one ({wish.tried}, {wish.tried_from})"
    if wish.would_move:
        return f"the family would like a school holiday; {tried} would also move {_named(wish.would_move, label)}"
    return f"the family would like a school holiday; {tried} has no date that the rules and other wishes allow"


def free_days(delay: Delay, date: datetime.date, own_last: datetime.date | None) -> int | None:
    """Return by how many days a stage may come later before another one moves, at most to its own last day."""
    left = None if own_last is None else max(0, days_between(date, own_last))
    return min((days for days in (delay.free_days, left) if days is not None), default=None)


def _moving(
    delay: Delay, item: StageItem, date: datetime.date, label: Label, own_last: datetime.date | None
) -> Iterator[str]:
    free = free_days(delay, date, own_last)
    if free is None:
        yield "A delay moves nothing else."
        return
    until = _day(date, free)
    if free > 0:
        last = ", its last day" if until == own_last else ""
        amount = "; the amount is planned for this age" if item.stage.bone is not None else ""
        yield f"A delay of up to {span_words(free)}, to {until}{last}, moves no other date{amount}."
    elif not delay.moves:
        yield "No later date is possible."
    first = True
    moves = tuple((name, days) for name, days in delay.moves if own_last is None or _day(date, days) < own_last)
    for days, group in _groups(moves):
        least = "Any delay" if not free else "A longer delay"
        which = least if first else f"A delay to {_day(date, days + 1)} or later"
        yield f"{which} also delays {_named(group, label)}."
        first = False


def _groups(moves: tuple[tuple[str, int], ...]) -> Iterator[tuple[int, tuple[str, ...]]]:
    start = moves[0][1] if moves else 0
    for _, items in groupby(moves, key=lambda item: (item[1] - start) // TOGETHER_DAYS):
        group = list(items)
        yield group[0][1], tuple(name for name, _ in group)


def _past_usual_age(
    delay: Delay, item: StageItem, date: datetime.date, record: Record, protocol: Protocol
) -> Iterator[str]:
    born = record.child.date_of_birth
    for rule in age_windows(item, record.child.sex, protocol, hard=False):
        last = None if rule.at_most_months is None else add_months(born, rule.at_most_months)
        within = last is not None and (delay.last_days is None or days_between(date, last) < delay.last_days)
        if last is not None and within and date <= last:
            yield f"Later than the usual age after {last}."


def _less(useful: datetime.date | None) -> Iterator[str]:
    if useful is not None:
        yield f"After {useful} it misses what is planned by more than the goal allows: less each month, not at once."


def _ended(
    delay: Delay, item: StageItem, date: datetime.date, label: Label, record: Record, protocol: Protocol
) -> Iterator[str]:
    """Yield until when a stage is of use by print, else what is lost for good; the plan's own end loses nothing."""
    rule = latest_useful(item, record.child.sex, protocol)
    last = add_months(record.child.date_of_birth, rule.at_most_months) if rule and rule.at_most_months else None
    if rule is not None and last is not None and date <= last:
        yield f"As a rule of use until {last}: {rule.because}"
    elif not _only_the_horizon(delay, protocol):
        yield from _lost(delay, item, date, label, protocol)


def _only_the_horizon(delay: Delay, protocol: Protocol) -> bool:
    """Return whether a later date is only ruled out because the plan ends there."""
    closing = _closing(delay)
    ends = 12 * protocol.number("plan_ends_at_years")
    at_end = {rule.id for rule in protocol.age_windows if rule.hard and rule.at_most_months == ends}
    return closing is not None and closing.rule in at_end


def _closing(delay: Delay) -> Link | None:
    bounds = [bound for item in delay.lost.relaxations for bound in item.bounds] if delay.lost else []
    return next((bound for bound in bounds if bound.earlier == ORIGIN and bound.at_most_days is not None), None)


def _lost(delay: Delay, item: StageItem, date: datetime.date, label: Label, protocol: Protocol) -> Iterator[str]:
    if delay.last_days is None:
        return
    last = _day(date, delay.last_days)
    words = {rule.id: rule.because for rule in protocol.rules()}
    closing = _closing(delay)
    if closing is None:
        yield f"No date is possible after {last}."
        return
    late = stage_of(closing.later)
    why = words.get(closing.rule, closing.rule)
    why = why if late == item.id else f"{label(late)} would come too late. {why}"
    yield f"After {last} it is too late: {why}"


def _named(stages: tuple[str, ...], label: Label) -> str:
    names = [label(stage) for stage in stages]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _day(date: datetime.date, days: int) -> datetime.date:
    return date + datetime.timedelta(days=days)
