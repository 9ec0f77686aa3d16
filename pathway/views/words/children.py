"""The list of children in words: one row a child, as the screens show it and the verb `children` prints it."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

from pathway.days import age_on
from pathway.plan.model import Plan
from pathway.protocol.words import lower_first
from pathway.questions.due import Due, due, plan_alone
from pathway.questions.due import next_stage as next_stage
from pathway.questions.urgency import Days, Order, sort_key
from pathway.views.pictures.curve import cm
from pathway.views.words.due import MONTHS_AHEAD, DueRow
from pathway.views.words.firmness import listed

NAMED = 2
"""How many of the things due on one day are named; the others are counted."""
PLANNING = "planning …"
CONFLICT = "cannot be planned as the rules stand"
NOT_YET = "not yet"
ORDER_WORDS: Mapping[Order, str] = {
    "urgency": "most urgent first",
    "stage": "by the day of the next stage",
    "last": "by the last day",
    "due": "by what is due first",
    "name": "by name",
}
"""What the heading says of the order."""
_Some = TypeVar("_Some", "Row", "DueRow")
SEARCHED = "name, age, diagnosis, next stage, days, what to do{accepted} and difference"


@dataclass(frozen=True, slots=True)
class Row:
    """What the list of children says of one child, in words.

    `following` is the next stage, marked where it is a close call, `when` its day; `last` and `last_what` the first day
    after which something cannot be made up, and what; `needs` and `needs_by` what is due first, `needs_short` the same
    for a narrow screen. `accepted` says whether
    the team accepted the plan, "" where nobody keeps that. `days` is what the list is ordered by.
    """

    name: str
    age: str
    diagnosis: str
    following: str
    when: str
    difference: str
    unsaved: bool = False
    last: str = ""
    last_what: str = ""
    needs: str = ""
    needs_short: str = ""
    needs_by: str = ""
    accepted: str = ""
    overdue: bool = False
    days: Days = field(default=Days(waiting=True), compare=False)
    words: str = field(init=False, compare=False, repr=False)
    """All that a search looks through: everything that the row shows."""

    def __post_init__(self) -> None:
        """Put together what a search looks through, once: a long list is searched at every key."""
        facts = (self.name, self.age, self.diagnosis, self.following, self.when, self.difference, self.last)
        more = (self.last_what, self.needs, self.needs_by, self.accepted)
        marks = ("overdue" if self.overdue else "", "not saved" if self.unsaved else "")
        object.__setattr__(self, "words", " ".join(filter(None, (*facts, *more, *marks))).lower())


def summary_row(
    name: str,
    summary: Mapping[str, Any],
    on: datetime.date,
    *,
    accepted: datetime.date | None = None,
    kept: bool = False,
    unsaved: bool = False,
) -> Row:
    """Return the row of a child as the summary of its plan tells it on a day.

    `accepted` is the day on which the team accepted a plan, where it did; `kept` whether somebody keeps that at all.
    """
    needs = needs_of(name, summary, on)
    difference, conflict = summary["difference_mm"], bool(summary["conflict"])
    stage_on = None if conflict or not summary["next_on"] else _day(summary["next_on"])
    following = summary["next"].rpartition(" on ")[0] or "nothing dated"
    last, last_what = _last_of(summary)
    to_do = tuple(item for item in needs if item.kind in ("visit", "measure", "examine", "step"))
    overdue = min((item.by for item in needs if item.overdue), default=None)
    return Row(
        name=name,
        age=age_on(_day(summary["born"]), on),
        diagnosis=summary["diagnosis"],
        following=CONFLICT if conflict else listed(following, close=bool(summary.get("close_call"))),
        when="" if stage_on is None else str(stage_on),
        difference="not known" if difference is None else cm(difference),
        unsaved=unsaved,
        last="" if last is None else str(last),
        last_what=last_what,
        needs=_needs_words(to_do, NAMED),
        needs_short=_needs_words(to_do, 1),
        needs_by=str(to_do[0].by) if to_do else "",
        accepted=_accepted_words(accepted, summary.get("as_accepted")) if kept else "",
        overdue=overdue is not None,
        days=Days(
            stage=stage_on,
            last=last,
            due=to_do[0].by if to_do else None,
            # Steps go with the next stage, whose day counts already.
            coming=min((item.by for item in to_do if item.by > on and item.kind != "step"), default=None),
            overdue=overdue,
            stuck=conflict,
        ),
    )


def plan_row(name: str, plan: Plan) -> Row:
    """Return the row of a child as its plan alone tells it, without what is due."""
    return summary_row(name, plan_alone(plan), plan.on)


def problem_row(name: str, problem: str, what: str = "the file cannot be read") -> Row:
    """Return the row of a child that cannot be planned, with the sentence that says why."""
    return Row(name, "", what, problem, "", "", days=Days(stuck=True))


def waiting_row(name: str) -> Row:
    """Return the row of a child that is still to be planned."""
    return Row(name, "", PLANNING, "", "", "")


def as_unsaved(row: Row, *, unsaved: bool) -> Row:
    """Return a row that says whether something of the child is not saved."""
    return row if row.unsaved == unsaved else replace(row, unsaved=unsaved)


def matching(rows: Iterable[_Some], text: str) -> tuple[_Some, ...]:
    """Return the rows that hold every word typed, in order."""
    words = text.lower().split()
    return tuple(row for row in rows if all(word in row.words for word in words))


def in_order(rows: Iterable[Row], order: Order) -> tuple[Row, ...]:
    """Return the rows in an order; `sort_key` says what each order means."""
    return tuple(sorted(rows, key=lambda row: sort_key(order, row.days, row.name)))


def no_match(text: str, remedy: str, *, accepted: bool) -> str:
    """Return what to say where a search finds nobody: what was looked through, and what to do."""
    searched = SEARCHED.format(accepted=", acceptance" if accepted else "")
    return f"No child matches {text!r}. Looked through: {searched} of every child. {remedy}"


def needs_of(child: str, summary: Mapping[str, Any], on: datetime.date) -> tuple[Due, ...]:
    """Return what a child needs in the months to come, overdue first; of one day as the plan asks, steps last."""
    found = due(child, summary, on, MONTHS_AHEAD)
    return tuple(sorted(found, key=lambda item: (item.by, item.kind == "step")))


def _needs_words(to_do: Sequence[Due], named: int) -> str:
    """Return what is due first in words: so many of one day by name, and how much more there is in the year."""
    if not to_do:
        return ""
    first = [item for item in to_do if (item.by, item.kind) == (to_do[0].by, to_do[0].kind)]
    bare = [item.what.partition(" (")[0] for item in first[:named]]
    told = ", ".join((bare[0], *(lower_first(text.removeprefix("measure: ")) for text in bare[1:])))
    more = f" (+{len(to_do) - len(bare)} more)" if len(to_do) > len(bare) else ""
    overdue = " (overdue)" if first[0].overdue else ""
    return f"{told[0].upper()}{told[1:]}{overdue}{more}"


def _last_of(summary: Mapping[str, Any]) -> tuple[datetime.date | None, str]:
    for item in summary.get("last_days", ()):
        return _day(item["on"]), item["stage"].partition(" of the ")[0]
    by = summary["arrest_last"]
    return (_day(by), "Growth arrest") if by else (None, "")


def _accepted_words(on: datetime.date | None, as_accepted: bool | None) -> str:
    if on is None:
        return NOT_YET
    return f"{on}, changed since" if as_accepted is False else str(on)


def _day(text: str) -> datetime.date:
    return datetime.date.fromisoformat(text)
