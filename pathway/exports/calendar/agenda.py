"""The plan as entries of a calendar: stages, examinations before them, follow-ups. Days and words, no format."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from pathway.days import add_months
from pathway.plan.graph import graph_of
from pathway.plan.model import Plan, PlanStage
from pathway.protocol.guidance import FollowUp
from pathway.protocol.model import Protocol
from pathway.protocol.roles import role_of
from pathway.rule_engine.conditions import Facts, judge
from pathway.views.words.caution import INVENTED, is_invented
from pathway.views.words.plan import cm_words
from pathway.worksheets.lengthening.calendar import weekday

Category = Literal["operation", "treatment", "examination", "follow-up", "turning", "visit"]
PLAN_PART = "plan"


@dataclass(frozen=True, slots=True)
class Entry:
    """One day of the calendar.

    `key` names it for ever within the child: a stage that moves keeps it. `part` is what it was asked for with:
    the plan, or one lengthening. `firm` days are over and certain, all others may still move.
    """

    key: str
    part: str
    category: Category
    day: datetime.date
    title: str
    words: tuple[str, ...]
    firm: bool = False


def agenda(plan: Plan, protocol: Protocol, facts: Facts) -> tuple[Entry, ...]:
    """Return the entries of a plan in the order of their days; stages without a date have none.

    `facts` are those of the day of the plan: a follow-up that depends on findings is entered where it holds.
    """
    found = [*_stages(plan, protocol), *_follow_ups(plan, protocol, facts)]
    return tuple(sorted(found, key=lambda entry: (entry.day, entry.key)))


def entry_words(plan: Plan, *words: str) -> tuple[str, ...]:
    """Return the words of an entry with the caution at their end, and that the child is invented where it is."""
    ends = (INVENTED,) if is_invented(plan.child.note) else ()
    return (*(word for word in words if word), plan.cautions[0].text, *ends)


def _stages(plan: Plan, protocol: Protocol) -> Iterator[Entry]:
    graph = graph_of(plan)
    for stage in plan.stages:
        if stage.date is None:
            continue
        done = stage.begun
        examined = role_of(stage.kind, protocol) == "reexamination"
        before = [graph.stage(edge.later) for edge in graph.edges_from(stage.id)] if examined else []
        words = (*_stage_words(stage, done), *(word for later in before for word in _gate_words(later)))
        title = f"{plan.child.id}: {_title(stage)}{'' if done else ' (planned)'}"
        yield Entry(stage.id, PLAN_PART, _category(stage, examined), stage.date, title, entry_words(plan, *words), done)


def _title(stage: PlanStage) -> str:
    side = f", {stage.side}" if stage.operation and stage.side in ("left", "right") else ""
    amount = "" if stage.amount_mm is None else f", {cm_words(stage.amount_mm)}"
    return f"{stage.label}{side}{amount}"


def _category(stage: PlanStage, examined: bool) -> Category:
    if stage.operation:
        return "operation"
    return "examination" if examined else "treatment"


def _stage_words(stage: PlanStage, done: bool) -> Iterator[str]:
    yield stage.family_words or stage.what
    if stage.end_date is not None and stage.date is not None and stage.end_date > stage.date:
        yield f"Lasts until {'' if done else 'about '}{stage.end_date}."
    if done or stage.window is None:
        return
    if stage.window.latest is None:
        yield f"Under the rules not before {stage.window.earliest}."
    else:
        yield f"Under the rules between {stage.window.earliest} and {stage.window.latest}."


def _gate_words(stage: PlanStage) -> Iterator[str]:
    """Yield what must hold before the stage that an examination comes before."""
    yield f"To be checked before {stage.label.lower()}:"
    yield from (f"- {gate.requires}" for gate in stage.gates)


def _follow_ups(plan: Plan, protocol: Protocol, facts: Facts) -> Iterator[Entry]:
    for stage in plan.stages:
        if stage.date is None:
            continue
        for rule in protocol.follow_ups:
            if rule.stage == stage.kind and _asked(rule, facts, protocol):
                yield from _visits(plan, stage, stage.date, rule)


def _asked(rule: FollowUp, facts: Facts, protocol: Protocol) -> bool:
    return rule.when is None or judge(rule.when, facts, protocol).state == "holds"


def _visits(plan: Plan, stage: PlanStage, start: datetime.date, rule: FollowUp) -> Iterator[Entry]:
    """Yield the visits of a follow-up still to come.

    Without a known last day only the next one: how often it is repeated is not foretold, and is said in words.
    """
    last = _last_day(stage, start, rule)
    count = 0
    while True:
        count += 1
        day = weekday(add_months(start, count * rule.every_months))
        if last is not None and day > last:
            return
        if day <= plan.on:
            continue
        further = f"Then every {rule.every_months} months, entered one at a time." if last is None else ""
        words = entry_words(plan, rule.text, f"Belongs to: {stage.label.lower()}.", further)
        key = f"{stage.id}/{rule.id}/{count}"
        yield Entry(key, PLAN_PART, "follow-up", day, f"{plan.child.id}: {_short(rule.text)} (planned)", words)
        if last is None:
            return


def _last_day(stage: PlanStage, start: datetime.date, rule: FollowUp) -> datetime.date | None:
    """Return the last day of a follow-up; None where the rule and the plan name none.

    A treatment that is itself the watching ends with itself, an operation so long after its end as the rule says.
    A rule without an end holds while a stage lasts that is long enough for a visit.
    """
    end = start if stage.end_date is None else stage.end_date
    if not stage.operation and end > start:
        return weekday(end)
    if rule.until_months is not None:
        return weekday(add_months(end, rule.until_months))
    return end if add_months(start, rule.every_months) <= end else None


def _short(text: str) -> str:
    return text.split(":")[0].split(" until ")[0].rstrip(".")
