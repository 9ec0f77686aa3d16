"""What is known of a child day by day, and the plans kept of it, as the screens see them: a port that a place fills."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, Protocol

from pathway.plan.model import Plan
from pathway.protocol import model
from pathway.questions.record_diff import item_words
from pathway.record import Decision, Operation, Record, Visit

if TYPE_CHECKING:
    from pathway.results.clinic import Results

Accepter = Literal["", "family", "team"]
"""Who accepts a plan; "" where nobody does, or nobody said."""
NOW = 0
"""The number of the record and plan as they stand on the screens, saved or not."""


@dataclass(frozen=True, slots=True)
class Moment:
    """A step of what is known: its number, its day, who made it, what it is in words.

    `plan` says whether a plan was kept with it, `accepted` whether somebody accepted that.
    """

    number: int
    on: datetime.date
    who: str
    kind: str
    what: str
    plan: bool = False
    accepted: bool = False


@dataclass(frozen=True, slots=True)
class Known:
    """What was known at a moment, the plan kept then (None where none was), and the day to plan it as of."""

    record: Record
    plan: Plan | None
    on: datetime.date


@dataclass(frozen=True, slots=True)
class AcceptedLast:
    """The plan that was accepted last: when and by whom it was kept, who accepted it and why, what was known then.

    `since` counts the entries after it.
    """

    number: int
    when: datetime.date
    who: str
    by: Accepter
    on: datetime.date
    reason: str
    data: Mapping[str, Any]
    record: Record
    since: int = 0

    def plan(self) -> Plan:
        """Return the plan as it was accepted. Raises `ValueError` where this program cannot read it any more."""
        return Plan.model_validate(self.data)


class KeptPlans(Protocol):
    """A place that keeps plans beside what is known. All methods raise SaveFailed but `accepted`."""

    def accepted(self, child: str) -> AcceptedLast | None:
        """Return the plan accepted last, as read or saved last; None where none was."""

    def moments(self, child: str, protocol: model.Protocol) -> tuple[Moment, ...]:
        """Return every entry of a child in order."""

    def at(self, child: str, number: int) -> Known:
        """Return what was known after an entry, with the plan where the entry is one."""

    def results(self, protocol: model.Protocol, on: datetime.date, read: Callable[[int], bool]) -> Results | None:
        """Return what all accepted plans said beside what came, up to a day.

        `read` is told now and then how many children were read, and says whether to go on; None where it said not.
        """


def days_of(record: Record, protocol: model.Protocol) -> tuple[Moment, ...]:
    """Return the days on which a record gained something, where no journal tells who entered what when."""
    made = []
    for number, day in enumerate(sorted({item.date for item in _items(record)}), start=1):
        of_day = [item for item in _items(record) if item.date == day]
        kinds = ", ".join(dict.fromkeys(type(item).__name__.lower() for item in of_day))
        who = ", ".join(dict.fromkeys(item.by for item in of_day if isinstance(item, Decision)))
        # The day stands beside it.
        what = "; ".join(item_words(item, protocol).replace(f" on {day}", "") for item in of_day)
        made.append(Moment(number, day, who, kinds, what))
    return tuple(made)


def _items(record: Record) -> Iterator[Visit | Operation | Decision]:
    yield from record.visits
    yield from record.operations
    yield from record.decisions
