"""What a follow-up changes in the plan, and for each change the event that brought it.

Causes are found, not guessed: the plan is made again with each event left out in turn.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from pathway.events import Event, apply
from pathway.plan.make import make_plan
from pathway.plan.model import Plan
from pathway.protocol.model import Protocol
from pathway.protocol.question import EarlierOperation, Question
from pathway.questions.compare import Difference, Key, differences
from pathway.questions.record_diff import entered, event_words
from pathway.record import Record

TIME = "the time that has passed"
TOGETHER = "several of the new facts together"


@dataclass(frozen=True, slots=True)
class Change:
    """A difference between two plans and the events without which it would not be there."""

    difference: Difference
    because: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """Return the change with its cause."""
        return f"{self.difference.sentence} Because of: {'; '.join(self.because)}."


@dataclass(frozen=True, slots=True)
class Preview:
    """The plan before and after, what was entered, and each change with its cause."""

    before: Plan
    after: Plan
    entered: tuple[str, ...]
    changes: tuple[Change, ...]


def preview(
    question: Question, events: Iterable[Event], *, since: datetime.date | None = None, seed: int = 0
) -> Preview:
    """Return what events change in the plan of a record.

    `since` is the day of the earlier plan (the same day where not given): what changes by the passing of time alone
    is told as such. Raises PlanBreach as `make_plan` does.
    """
    events = tuple(events)
    before = make_plan(replace(question, on=since or question.on), seed=seed, compared=False)
    after = make_plan(question.about(apply(question.record, events)), seed=seed, compared=False)
    return compared(question.record, before, events, after, question.protocol, seed=seed, earlier=question.earlier)


def compared(
    record: Record,
    before: Plan,
    events: Iterable[Event],
    after: Plan,
    protocol: Protocol,
    *,
    seed: int = 0,
    earlier: tuple[EarlierOperation, ...] = (),
    make: Callable[..., Plan] = make_plan,
) -> Preview:
    """Return the differences of two plans as they are, with their causes among the events between them.

    The plans may have been made with other rules than `protocol`, by which causes are looked for. Plans are made by
    `make`, called as `make_plan` is, so that who waits no longer can leave by an exception; the operations of the plan
    accepted `earlier` are kept in them as in the plan after.
    """

    def planned(known: Record) -> Plan:
        return make(Question(known, protocol, after.on, earlier=earlier), seed=seed, compared=False)

    found = differences(before, after)
    each = entered(events, record)
    words = tuple(event_words(event, record, protocol) for event in each)
    if not found:
        return Preview(before, after, words, ())
    without = [planned(apply(record, (*each[:at], *each[at + 1 :]))) for at in range(len(each))]
    by_event = [{d.key: d for d in differences(before, plan)} for plan in without]
    in_time = {d.key: d for d in differences(before, planned(record))} if before.on != after.on else {}
    changes = tuple(Change(d, _causes(d, words, by_event, in_time)) for d in found)
    return Preview(before, after, words, changes)


def _causes(
    found: Difference,
    entered: tuple[str, ...],
    without: list[dict[Key, Difference]],
    in_time: dict[Key, Difference],
) -> tuple[str, ...]:
    """Return in words the events without which the difference is gone or another one.

    Events without which it is gone come alone where there are any; otherwise those without which its value differs.
    """
    if in_time.get(found.key) == found:
        return (TIME,)
    gone = tuple(words for words, left in zip(entered, without, strict=True) if found.key not in left)
    other = tuple(words for words, left in zip(entered, without, strict=True) if left.get(found.key) != found)
    if gone or other:
        # What would have changed by itself too, only otherwise, is not put down to what was entered alone.
        return (TIME, *(gone or other)) if found.key in in_time else gone or other
    return (TIME,) if not entered or found.key in in_time else (TOGETHER,)
