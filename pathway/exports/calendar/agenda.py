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
from pathway.rule_engine.verdict import Verdict
from pathway.timing.calendar import Calendar, open_day
from pathway.views.words import family_terms as say
from pathway.views.words.caution import is_invented
from pathway.views.words.wording import Wording
from pathway.worksheets.lengthening.distraction import weekday

Category = Literal["operation", "treatment", "examination", "follow-up", "turning", "visit"]
PLAN_PART = "plan"
DAY = datetime.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Reminder:
    """What a calendar says aloud, and when: `after` the first minute of the entry's day, below 0 before it."""

    after: datetime.timedelta
    words: str


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
    reminders: tuple[Reminder, ...] = ()


@dataclass(frozen=True, slots=True)
class Clinic:
    """Where the child is treated: its rules, the days on which it is closed, and the language of its families."""

    protocol: Protocol
    calendar: Calendar
    words: Wording


def agenda(plan: Plan, facts: Facts, clinic: Clinic) -> tuple[Entry, ...]:
    """Return the entries of a plan in the order of their days; stages without a date have none.

    `facts` are those of the day of the plan: a follow-up that depends on findings is entered where it holds. A visit
    still to come stands on a day on which the clinic is open.
    """
    found = [*_stages(plan, clinic), *_follow_ups(plan, facts, clinic)]
    return tuple(sorted(found, key=lambda entry: (entry.day, entry.key)))


def entry_words(plan: Plan, words: Wording, *said: str) -> tuple[str, ...]:
    """Return the words of an entry with the caution at their end, and that the child is invented where it is."""
    ends = (words.say("invented"),) if is_invented(plan.child.note) else ()
    return (*(text for text in said if text), say.caution_of(plan, words), *ends)


def reminder(category: Category, title: str, clinic: Clinic) -> tuple[Reminder, ...]:
    """Return the reminder of a visit or an operation still to come, so many days before as the rules say."""
    kind = "operation" if category == "operation" else "visit"
    days, hour = clinic.protocol.number(f"reminder_{kind}_days"), clinic.protocol.number("reminder_hour")
    words = clinic.words.say("calendar.reminder", title=title)
    return (Reminder(datetime.timedelta(hours=hour) - datetime.timedelta(days=days), words),)


def on_open_day(
    day: datetime.date, clinic: Clinic, before: datetime.date | None = None
) -> tuple[datetime.date, tuple[str, ...]]:
    """Return the day on which the clinic is open instead, with a sentence on it where it is another one."""
    opened = open_day(day, clinic.calendar, before)
    if opened == day:
        return day, ()
    name = "calendar.moved" if opened > day else "calendar.moved_before"
    return opened, (clinic.words.say(name, day=day),)


def _stages(plan: Plan, clinic: Clinic) -> Iterator[Entry]:
    graph, words = graph_of(plan), clinic.words
    for stage in plan.stages:
        if stage.date is None:
            continue
        examined = role_of(stage.kind, clinic.protocol) == "reexamination"
        later = [graph.stage(edge.later) for edge in graph.edges_from(stage.id)] if examined else []
        day, moved = stage.date, tuple[str, ...]()
        visit = not stage.operation and not stage.begun and stage.lane == say.CHECKS and stage.date > plan.on
        if visit:
            next_days = [one.date for one in later if one.date is not None and one.date > stage.date]
            day, moved = on_open_day(day, clinic, min(next_days, default=None))
        title = words.say(
            f"calendar.{'title' if stage.begun else 'planned'}", child=plan.child.id, name=_name(stage, words)
        )
        told = (*_stage_words(stage, words), *moved, *(text for one in later for text in _looked_at(one, clinic)))
        category = _category(stage, examined)
        reminded = reminder(category, title, clinic) if visit or (stage.operation and not stage.begun) else ()
        said = entry_words(plan, words, *told)
        yield Entry(stage.id, PLAN_PART, category, day, title, said, stage.begun, reminded)


def _name(stage: PlanStage, words: Wording) -> str:
    name = say.name_of(stage.kind, words, stage.label)
    if stage.operation and stage.side in ("left", "right"):
        name = words.say("calendar.sided", name=name, side=words.say(stage.side))
    if stage.amount_mm is not None:
        name = words.say("calendar.measured", name=name, amount=words.cm(stage.amount_mm))
    return name


def _category(stage: PlanStage, examined: bool) -> Category:
    if stage.operation:
        return "operation"
    return "examination" if examined else "treatment"


def _stage_words(stage: PlanStage, words: Wording) -> Iterator[str]:
    yield say.what_of(stage, words) or stage.what
    if stage.end_date is not None and stage.date is not None and stage.end_date > stage.date:
        yield words.say("calendar.lasts" if stage.begun else "calendar.lasts_about", day=stage.end_date)
    if stage.begun or stage.window is None:
        return
    if stage.window.latest is None:
        yield words.say("calendar.not_before", day=stage.window.earliest)
    else:
        yield words.say("calendar.between", first=stage.window.earliest, last=stage.window.latest)


def _looked_at(stage: PlanStage, clinic: Clinic) -> Iterator[str]:
    """Yield what is looked at before the stage that an examination comes before: the findings of its gates."""
    words = clinic.words
    found = dict.fromkeys(finding for gate in stage.gates for finding in _findings(gate.verdict))
    if found:
        yield words.say("calendar.before", step=say.name_of(stage.kind, words, stage.label))
    for id in found:
        rule = clinic.protocol.finding(id)
        yield words.say("calendar.point", what=words.of_rule("findings", id, rule.family_words or rule.label))


def _findings(verdict: Verdict) -> Iterator[str]:
    if verdict.finding is not None:
        yield verdict.finding
    yield from verdict.asks
    for part in verdict.parts:
        yield from _findings(part)


def _follow_ups(plan: Plan, facts: Facts, clinic: Clinic) -> Iterator[Entry]:
    for stage in plan.stages:
        if stage.date is None:
            continue
        for rule in clinic.protocol.follow_ups:
            if rule.stage == stage.kind and _asked(rule, facts, clinic.protocol):
                yield from _visits(plan, stage, stage.date, rule, clinic)


def _asked(rule: FollowUp, facts: Facts, protocol: Protocol) -> bool:
    return rule.when is None or judge(rule.when, facts, protocol).state == "holds"


def _visits(plan: Plan, stage: PlanStage, start: datetime.date, rule: FollowUp, clinic: Clinic) -> Iterator[Entry]:
    """Yield the visits of a follow-up still to come.

    Without a known last day only the next one: how often it is repeated is not foretold, and is said in words.
    """
    words, last = clinic.words, _last_day(stage, start, rule)
    step = say.name_of(stage.kind, words, stage.label)
    name = words.say("calendar.follow_up", step=step) if stage.operation else step
    title = words.say("calendar.planned", child=plan.child.id, name=name)
    what = words.of_rule("follow_ups", rule.id, rule.family_words or rule.text)
    count = 0
    while True:
        count += 1
        due = weekday(add_months(start, count * rule.every_months))
        if last is not None and due > last:
            return
        if due <= plan.on:
            continue
        day, moved = on_open_day(due, clinic)
        further = words.say("calendar.further", count=rule.every_months) if last is None else ""
        belongs = words.say("calendar.belongs", step=step) if stage.operation else ""
        said = entry_words(plan, words, what, belongs, *moved, further)
        key = f"{stage.id}/{rule.id}/{count}"
        yield Entry(key, PLAN_PART, "follow-up", day, title, said, False, reminder("follow-up", title, clinic))
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
