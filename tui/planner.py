"""Planning one case file outside the screen's own thread: text in, a plan or sentences out."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pathway.events import Event, apply
from pathway.plan.model import Plan
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Record
from pathway.views.words.paragraphs import Aids

if TYPE_CHECKING:
    from pathway.children.storage import Storage
    from pathway.questions.followup import Preview
    from pathway.questions.what_if import Answer, WhatIf


@dataclass(frozen=True, slots=True)
class Made:
    """A finished plan with its record, and what the screens need of the protocol."""

    record: Record
    plan: Plan
    aids: Aids
    goal_mm: tuple[float, float]
    protocol: Protocol
    summary: Mapping[str, Any] | None = None


def make(name: str, text: str, on: datetime.date, given: Protocol | None = None) -> Made | tuple[str, ...]:
    """Return the plan of a case file by the protocol given (ours where none is), or why there is none."""
    from pathway.children.planned import record_from
    from pathway.problems import Refused
    from pathway.protocol.load import load_protocol

    try:
        protocol = given or load_protocol()
    except Refused as error:
        return ("The rules cannot be used.", *str(error).splitlines())
    record = record_from(name, text, on, protocol)
    return record if isinstance(record, tuple) else make_from(name, Question(record, protocol, on))


def make_from(name: str, question: Question, compared: bool = False) -> Made | tuple[str, ...]:
    """Return the plan of a record, with `compared` every course that it is compared with, or why there is none."""
    from pathway.children.planned import plan_from
    from pathway.questions.due import plan_summary
    from pathway.views.words.paragraphs import aids

    plan = plan_from(question, compared=compared)
    if isinstance(plan, tuple):
        return plan
    return Made(
        question.record,
        plan,
        aids(question.protocol),
        (0.0, question.protocol.number("goal_band_mm")),
        question.protocol,
        plan_summary(plan, question.record, question.protocol, question.earlier),
    )


def make_kept(name: str, storage: Storage, on: datetime.date, protocol: Protocol) -> Made | tuple[str, ...]:
    """Return the plan of a child as it is kept now, or why there is none."""
    from pathway.children.storage import SaveFailed

    try:
        record = storage.read(name)
        return make_from(name, Question(record, protocol, on, earlier=storage.earlier(name)))
    except SaveFailed as error:
        return (f"{error} Then open the child again.",)


def alone(plan: Plan) -> Plan:
    """Return a plan with its recommended course alone, as one that was not compared holds it."""
    best = plan.recommended
    course = () if best is None else (best.model_copy(update={"not_beaten": False}),)
    return plan.model_copy(update={"alternatives": course})


def ask(question: Question, asked: WhatIf) -> Answer | tuple[str, ...]:
    """Return the answer to a what-if question, or the sentences that say why there is none."""
    from pathway.plan.make import PlanBreach
    from pathway.questions.what_if import what_if

    try:
        return what_if(question, asked, compared=False)
    except PlanBreach as error:
        why = f"the plan under these wishes breaks its own rules ({error.breaches})"
        return (f"Internal error: {why}. Nothing was changed.",)
    except KeyError as error:
        return (f"The protocol has no stage {error}.",)


class Left(Exception):
    """Nobody waits for the answer any more."""


def follow_up(
    question: Question, before: Plan, events: Sequence[Event], wanted: Callable[[], bool]
) -> Iterator[Preview | tuple[str, ...]]:
    """Yield what events change: at once without their causes, then with them; or why there is no plan.

    Ends early where the answer is not `wanted` any more.
    """
    from pathway.plan.make import PlanBreach, make_plan
    from pathway.questions.compare import differences
    from pathway.questions.followup import Change, Preview, compared

    def make(question: Question, **options: Any) -> Plan:
        if not wanted():
            raise Left
        return make_plan(question, **options)

    try:
        record, protocol = question.record, question.protocol
        after = make(question.about(apply(record, events)))
        yield Preview(before, after, (), tuple(Change(found, ()) for found in differences(before, after)))
        yield compared(record, before, events, after, protocol, earlier=question.earlier, make=make)
    except Left:
        return
    except PlanBreach as error:
        yield (f"Internal error: the plan with this breaks its own rules ({error.breaches}). Nothing was changed.",)


@dataclass(frozen=True, slots=True)
class Side:
    """One of two plans that are compared, with what was known when it was made."""

    record: Record
    plan: Plan


def between(one: Side, other: Side, protocol: Protocol, wanted: Callable[[], bool]) -> Iterator[Preview]:
    """Yield what differs between two plans: at once without causes, then with the facts that brought each change.

    Ends early where the answer is not `wanted` any more. Raises PlanBreach as `make_plan` does.
    """
    from pathway.events import diff
    from pathway.plan.earlier import earlier_of
    from pathway.plan.make import make_plan
    from pathway.questions.compare import differences
    from pathway.questions.followup import Change, Preview, compared

    def make(question: Question, **options: Any) -> Plan:
        if not wanted():
            raise Left
        return make_plan(question, **options)

    events = diff(one.record, other.record)
    found = tuple(Change(each, ()) for each in differences(one.plan, other.plan))
    yield Preview(one.plan, other.plan, (), found)
    with suppress(Left):
        earlier = earlier_of(one.plan)
        yield compared(one.record, one.plan, events, other.plan, protocol, earlier=earlier, make=make)


def names_in(protocol: Protocol) -> Mapping[str, tuple[str, ...]]:
    """Return for each id of the protocol the ids of the rules that name it."""
    from pathway.protocol.references import users

    return users(protocol)
