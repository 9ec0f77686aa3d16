"""Who needs what by when, read off a plan once and kept as small plain data, so that long lists need no planning."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from pathway.days import add_months
from pathway.plan.earlier import earlier_of
from pathway.protocol.roles import role_of
from pathway.questions.last_days import cannot_be_made_up

if TYPE_CHECKING:  # lists are read off what was kept: they load no plan and no rules
    from pathway.plan.model import Plan, PlanStage
    from pathway.protocol.model import Protocol
    from pathway.protocol.question import EarlierOperation
    from pathway.record import Record

Kind = Literal["visit", "measure", "examine", "step", "opens", "last", "arrest", "conflict"]
"""What is asked for. `last` is the last day of what cannot be made up; `arrest` the same in summaries kept before."""


class Needed(NamedTuple):
    """One thing that a plan asks for, whatever day it is: the day by which, of which kind, and what."""

    by: datetime.date
    kind: Kind
    what: str


@dataclass(frozen=True, slots=True)
class Due:
    """One thing that a child needs: the day by which, what, whether that day has passed, and of which kind it is."""

    child: str
    by: datetime.date
    what: str
    overdue: bool
    kind: Kind | Literal[""] = field(default="", compare=False)


def next_stage(plan: Plan) -> PlanStage | None:
    """Return what is next: the first operation to come that has a date, else the first stage that has one, or None."""
    dated = [s for s in plan.stages if s.date is not None and s.status in ("ready", "later", "blocked")]
    return min(dated, key=lambda stage: (not stage.operation, _when(stage)), default=None)


def next_ones(plan: Plan) -> list[PlanStage]:
    """Return what is next: with an operation all operations that are planned for its day."""
    first = next_stage(plan)
    if first is None or not first.operation:
        return [] if first is None else [first]
    same = (stage for stage in plan.stages if stage.operation and not stage.begun and stage.date == first.date)
    return [first, *(stage for stage in same if stage is not first)]


def steps(plan: Plan) -> list[PlanStage]:
    """Return the visits and steps to come that are no operation and have a date, by date and then as planned."""
    found = (stage for stage in plan.stages if not (stage.operation or stage.begun) and stage.road != "prosthetic")
    return sorted((stage for stage in found if stage.date is not None), key=_when)


def steps_before(plan: Plan, stage: PlanStage) -> list[PlanStage]:
    """Return the visits and steps that are due before an operation, or by the day of another stage."""
    until = _when(stage)
    day = datetime.timedelta(days=1)
    last = until - day if stage.operation else until
    return [one for one in steps(plan) if one is not stage and _when(one) <= last]


def plan_summary(
    plan: Plan, record: Record, protocol: Protocol, earlier: tuple[EarlierOperation, ...] = ()
) -> dict[str, Any]:
    """Return what lists need of a plan as plain data: dates as ISO text.

    `born`, `diagnosis` and `difference_mm` (at maturity, untreated) say who it is, `next` and `next_on` are the next
    stage of treatment, `close_call` whether that is one, `measure` what gates need to be measured by when,
    `see_again_by` the next follow-up, `examine` and `steps` the visits and steps with their days, `opens` the windows
    of operations, `last_days` the last day of what cannot be made up (`arrest_last` that of a growth arrest).
    `as_accepted` is whether its operations for length to come are those of the plan accepted last (`earlier`), None
    where none were. From `changes_on` on, the plan is no longer true: the first of its days has come, or a finding it
    rests on is out of date.
    """
    coming = [stage for stage in plan.stages if stage.date is not None and stage.status not in ("done", "under_way")]
    operations = sorted((stage for stage in coming if stage.operation), key=_when)
    roles = {stage.id: role_of(stage.kind, protocol) for stage in plan.stages}
    ends = cannot_be_made_up(plan)
    arrest = next((day for day, stage in ends if roles[stage.id] == "growth_arrest"), None)
    last = max((visit.date for visit in record.visits), default=None)
    again = None if last is None else add_months(last, int(protocol.number("next_visit_months")))
    summary = {
        **plan_alone(plan),
        "measure": [
            {"what": question.label, "by": str(question.by)}
            for question in plan.open_questions
            if question.by is not None
        ],
        "see_again_by": None if again is None else str(again),
        "opens": [
            {"stage": stage.label, "on": str(stage.window.earliest)} for stage in operations if stage.window is not None
        ],
        "examine": [
            {"stage": stage.label, "on": str(stage.date)} for stage in coming if roles[stage.id] == "reexamination"
        ],
        "steps": [
            {"stage": stage.label, "on": str(stage.date)} for stage in steps(plan) if roles[stage.id] != "reexamination"
        ],
        "last_days": [{"stage": stage.label, "on": str(day)} for day, stage in ends],
        "arrest_last": None if arrest is None else str(arrest),
        "as_accepted": _as_accepted(plan, earlier),
    }
    return {**summary, "changes_on": str(_changes_on(summary, record, protocol, plan.on))}


def plan_alone(plan: Plan) -> dict[str, Any]:
    """Return a summary as far as a plan tells it by itself: nothing that is due, which needs its record and rules."""
    following, at_maturity = next_stage(plan), plan.growth.at_maturity
    return {
        "born": str(plan.child.date_of_birth),
        "diagnosis": f"{plan.child.diagnosis_label}, {plan.child.affected_side}",
        "difference_mm": None if at_maturity is None else at_maturity.discrepancy_mm.p50,
        "next": f"{following.label} on {following.date}" if following else "",
        "next_on": str(following.date) if following else None,
        "course": plan.recommended.summary if plan.recommended else "",
        "conflict": bool(plan.conflicts),
        "close_call": plan.firmness.close_call,
        **{
            "measure": [],
            "see_again_by": None,
            "opens": [],
            "examine": [],
            "steps": [],
            "last_days": [],
            "arrest_last": None,
        },
    }


def needed(summary: Mapping[str, Any], planned_on: datetime.date) -> Iterator[Needed]:
    """Yield all that the plan of a day asks for, in no order.

    Raises KeyError, TypeError, ValueError or AttributeError for a summary of another form.
    """
    day = datetime.date.fromisoformat
    if by := summary["see_again_by"]:
        yield Needed(day(by), "visit", "follow-up visit")
    for item in summary["measure"]:
        yield Needed(day(item["by"]), "measure", f"measure: {item['what']}")
    for item in summary.get("examine", ()):
        yield Needed(day(item["on"]), "examine", item["stage"])
    for item in summary.get("steps", ()):
        yield Needed(day(item["on"]), "step", item["stage"])
    for item in summary["opens"]:
        yield Needed(day(item["on"]), "opens", f"window opens: {item['stage']}")
    ends = summary.get("last_days")
    for item in ends or ():
        yield Needed(day(item["on"]), "last", f"last useful day: {item['stage']}")
    if (by := summary["arrest_last"]) and ends is None:
        yield Needed(day(by), "arrest", "last useful day of the growth arrest")
    if summary["conflict"]:
        yield Needed(planned_on, "conflict", "cannot be planned: rules contradict each other")


def due_on(child: str, one: Needed, on: datetime.date) -> Due | None:
    """Return what a child needs as it is told on a day; None for a window that has opened before."""
    if one.kind == "opens" and one.by < on:
        return None
    # A step from today on is as late as its operation lets it be: the plan of every day puts it on that day.
    late = one.by < on and one.kind != "step"
    return Due(child, one.by, one.what, late or one.kind == "conflict", one.kind)


def due(child: str, summary: Mapping[str, Any], on: datetime.date, months: int) -> Iterator[Due]:
    """Yield what a child needs until so many months after a day, what is overdue included, in no order."""
    until = add_months(on, months)
    for one in needed(summary, on):
        if one.by <= until and (told := due_on(child, one, on)) is not None:
            yield told


def _changes_on(
    summary: Mapping[str, Any], record: Record, protocol: Protocol, planned_on: datetime.date
) -> datetime.date:
    """Return the first day after which the plan would be another one by the passing of time alone."""
    days = [one.by for one in needed(summary, planned_on)]
    if summary["next_on"]:
        days.append(datetime.date.fromisoformat(summary["next_on"]))
    measured = {
        (item.finding, item.side): visit.date
        for visit in sorted(record.visits, key=lambda visit: visit.date)
        for item in visit.measurements
    }
    for (finding, _), day in measured.items():
        valid = protocol.finding(finding).valid_months
        if valid is not None:
            days.append(add_months(day, valid))
    last = add_months(planned_on, int(protocol.number("next_visit_months")))
    return min((day for day in days if day > planned_on), default=last)


def _as_accepted(plan: Plan, earlier: tuple[EarlierOperation, ...]) -> bool | None:
    """Return whether what is to come for length is what was accepted: which operations, how much, which plates.

    Their days are left out: a plan made later moves what could not be done yet, and is no other plan for it.
    """
    if not earlier:
        return None
    begun = {stage.id for stage in plan.stages if stage.status in ("done", "under_way")}
    now, then = (
        sorted((one.stage, one.amount_mm, one.physes) for one in course if one.stage not in begun)
        for course in (earlier_of(plan), earlier)
    )
    return now == then


def _when(stage: PlanStage) -> datetime.date:
    return stage.date or datetime.date.max
