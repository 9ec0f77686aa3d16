"""In which order a list of children is read: by urgency, or by one of the days that it shows."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Literal, get_args

Order = Literal["urgency", "stage", "last", "due", "name"]
ORDERS: tuple[Order, ...] = get_args(Order)


@dataclass(frozen=True, slots=True)
class Days:
    """What a list orders a child by: the day of its next stage, the first last day, what is due first.

    `coming` is the first day after today on which something is due, `overdue` the first that has passed with something
    left to do. A child `stuck` cannot be read or planned, one
    that is `waiting` is not planned yet.
    """

    stage: datetime.date | None = None
    last: datetime.date | None = None
    due: datetime.date | None = None
    coming: datetime.date | None = None
    overdue: datetime.date | None = None
    stuck: bool = False
    waiting: bool = False


Key = tuple[int, datetime.date, datetime.date, datetime.date, str]


def sort_key(order: Order, days: Days, name: str) -> Key:
    """Return what children are sorted by in an order; those that lack the day of it come last.

    By urgency: first who cannot be read or planned, for nobody knows what they need; then what is overdue, what has
    waited longest first; then by the soonest day to come, be it the last day of what cannot be made up, the next stage
    or something due; then those without any day, and those still to be planned. What is asked for at once is asked of
    nearly every child: it counts only where nothing else has a day. Where that day is the same, the nearer last day
    comes first, then the nearer stage, then the name.
    """
    never = datetime.date.max
    last, stage = days.last or never, days.stage or never
    if order == "urgency":
        coming = min(
            (day for day in (days.last, days.stage, days.coming) if day is not None), default=days.due or never
        )
        rank, day = (1, days.overdue) if days.overdue is not None else (2 if coming < never else 3, coming)
        rank = 0 if days.stuck else 4 if days.waiting else rank
        return rank, day, last, stage, name
    if order == "name":
        return 0, never, never, never, name
    wanted = {"stage": days.stage, "last": days.last, "due": days.overdue or days.due}[order]
    return 0, wanted or never, last, stage, name
