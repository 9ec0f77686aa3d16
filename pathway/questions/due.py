"""Who needs what by when, read off a plan once and kept as small plain data, so that long lists need no planning."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from pathway.days import add_months
from pathway.protocol.roles import role_of

if TYPE_CHECKING:  # lists are read off what was kept: they load no plan and no rules
    from pathway.plan.model import Plan, PlanStage
    from pathway.protocol.model import Protocol
    from pathway.record import Record

Kind = Literal["visit", "measure", "examine", "opens", "arrest", "conflict"]


class Needed(NamedTuple):
    """One thing that a plan asks for, whatever day it is: the day by which, of which kind, and what."""

    by: datetime.date
    kind: Kind
    what: str


@dataclass(frozen=True, slots=True)
class Due:
    """One thing that a child needs: the day by which, what, and whether that day has passed."""

    child: str
    by: datetime.date
    what: str
    overdue: bool


def plan_summary(plan: Plan, record: Record, protocol: Protocol) -> dict[str, Any]:
    """Return what lists need of a plan as plain data: dates as ISO text.

    `born`, `diagnosis` and `difference_mm` (at maturity, untreated) say who it is, `next` and `next_on` are the next
    operation, `close_call` whether that is one, `measure` what gates need to be measured by when, `see_again_by` the
    next follow-up, `opens` the windows of operations, `arrest_last` the last useful day of a growth arrest. From
    `changes_on` on, the plan is no longer true: the first of its days has come, or a finding it rests on is out of
    date.
    """
    coming = [stage for stage in plan.stages if stage.date is not None and stage.status not in ("done", "under_way")]
    operations = sorted((stage for stage in coming if stage.operation), key=_when)
    roles = {stage.id: role_of(stage.kind, protocol) for stage in plan.stages}
    arrest = next((s for s in plan.stages if roles[s.id] == "growth_arrest" and s.window is not None), None)
    last = max((visit.date for visit in record.visits), default=None)
    again = None if last is None else add_months(last, int(protocol.number("next_visit_months")))
    at_maturity = plan.growth.at_maturity
    summary = {
        "born": str(record.child.date_of_birth),
        "diagnosis": f"{plan.child.diagnosis_label}, {plan.child.affected_side}",
        "difference_mm": None if at_maturity is None else at_maturity.discrepancy_mm.p50,
        "next": f"{operations[0].label} on {operations[0].date}" if operations else "",
        "next_on": str(operations[0].date) if operations else None,
        "course": plan.recommended.summary if plan.recommended else "",
        "conflict": bool(plan.conflicts),
        "close_call": plan.firmness.close_call,
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
        "arrest_last": str(arrest.window.latest) if arrest and arrest.window and arrest.window.latest else None,
    }
    return {**summary, "changes_on": str(_changes_on(summary, record, protocol, plan.on))}


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
    for item in summary["opens"]:
        yield Needed(day(item["on"]), "opens", f"window opens: {item['stage']}")
    if by := summary["arrest_last"]:
        yield Needed(day(by), "arrest", "last useful day of the growth arrest")
    if summary["conflict"]:
        yield Needed(planned_on, "conflict", "cannot be planned: rules contradict each other")


def due_on(child: str, one: Needed, on: datetime.date) -> Due | None:
    """Return what a child needs as it is told on a day; None for a window that has opened before."""
    if one.kind == "opens" and one.by < on:
        return None
    return Due(child, one.by, one.what, one.by < on or one.kind == "conflict")


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


def _when(stage: PlanStage) -> datetime.date:
    return stage.date or datetime.date.max
