"""What a follow-up changes in the plan, and for each change the new fact that brought it.

Causes are found, not guessed: the plan is made again with each fact left out in turn.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass

from pathway.plan.make import make_plan
from pathway.plan.model import Plan
from pathway.protocol.model import Protocol
from pathway.questions.compare import Difference, Key, differences
from pathway.questions.record_diff import Fact, facts_between, with_facts
from pathway.record import Record

TIME = "the time that has passed"
TOGETHER = "several of the new facts together"


@dataclass(frozen=True, slots=True)
class Change:
    """A difference between two plans and the facts without which it would not be there."""

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
    old: Record,
    new: Record,
    protocol: Protocol,
    on: datetime.date,
    *,
    since: datetime.date | None = None,
    seed: int = 0,
) -> Preview:
    """Return what the facts that `new` has more than `old` change in the plan.

    `since` is the day of the earlier plan (the same day where not given): what changes by the passing of time alone
    is told as such. Raises PlanBreach as `make_plan` does.
    """

    before = make_plan(old, protocol, since or on, seed=seed)
    after = make_plan(new, protocol, on, seed=seed)
    return compared(old, before, new, after, protocol, seed=seed)


def compared(
    old: Record,
    before: Plan,
    new: Record,
    after: Plan,
    protocol: Protocol,
    *,
    seed: int = 0,
    make: Callable[..., Plan] = make_plan,
) -> Preview:
    """Return the differences of two plans as they are, with their causes among the facts between two records.

    The plans may have been made with other rules than `protocol`, by which causes are looked for. Plans are made by
    `make`, called as `make_plan` is, so that who waits no longer can leave by an exception.
    """

    def planned(record: Record) -> Plan:
        return make(record, protocol, after.on, seed=seed, chances=False)

    found = differences(before, after)
    facts = facts_between(old, new, protocol)
    entered = tuple(fact.words for fact in facts)
    if not found:
        return Preview(before, after, entered, ())
    without = [planned(with_facts(old, _others(facts, at))) for at in range(len(facts))]
    by_fact = [{d.key: d for d in differences(before, plan)} for plan in without]
    in_time = {d.key: d for d in differences(before, planned(old))} if before.on != after.on else {}
    changes = tuple(Change(d, _causes(d, facts, by_fact, in_time)) for d in found)
    return Preview(before, after, entered, changes)


def _others(facts: tuple[Fact, ...], at: int) -> tuple[Fact, ...]:
    return (*facts[:at], *facts[at + 1 :])


def _causes(
    found: Difference,
    facts: tuple[Fact, ...],
    without: list[dict[Key, Difference]],
    in_time: dict[Key, Difference],
) -> tuple[str, ...]:
    """Return the facts without which the difference is gone or another one.

    Facts without which it is gone come alone where there are any; otherwise those without which its value differs.
    """
    if in_time.get(found.key) == found:
        return (TIME,)
    gone = tuple(fact.words for fact, left in zip(facts, without, strict=True) if found.key not in left)
    other = tuple(fact.words for fact, left in zip(facts, without, strict=True) if left.get(found.key) != found)
    if gone or other:
        return gone or other
    return (TIME,) if not facts or found.key in in_time else (TOGETHER,)
