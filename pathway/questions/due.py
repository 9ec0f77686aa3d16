"""Who needs what by when, read off a plan once and kept as small plain data, so that long lists need no planning."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pathway.days import add_months
from pathway.plan.model import Plan, PlanStage
from pathway.protocol.model import Protocol
from pathway.protocol.roles import role_of
from pathway.record import Record


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
    next follow-up, `opens` the windows of operations, `arrest_last` the last useful day of a growth arrest.
    """
    coming = [stage for stage in plan.stages if stage.date is not None and stage.status not in ("done", "under_way")]
    operations = sorted((stage for stage in coming if stage.operation), key=_when)
    roles = {stage.id: role_of(stage.kind, protocol) for stage in plan.stages}
    arrest = next((s for s in plan.stages if roles[s.id] == "growth_arrest" and s.window is not None), None)
    last = max((visit.date for visit in record.visits), default=None)
    again = None if last is None else add_months(last, int(protocol.number("next_visit_months")))
    at_maturity = plan.growth.at_maturity
    return {
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


def due(child: str, summary: Mapping[str, Any], on: datetime.date, months: int) -> Iterator[Due]:
    """Yield what a child needs until so many months after a day, what is overdue included, in no order."""
    until = add_months(on, months)

    def within(text: str | None) -> datetime.date | None:
        day = None if text is None else datetime.date.fromisoformat(text)
        return day if day is not None and day <= until else None

    if by := within(summary.get("see_again_by")):
        yield Due(child, by, "follow-up visit", by < on)
    for item in summary.get("measure", ()):
        if by := within(item["by"]):
            yield Due(child, by, f"measure: {item['what']}", by < on)
    for item in summary.get("examine", ()):
        if by := within(item["on"]):
            yield Due(child, by, item["stage"], by < on)
    for item in summary.get("opens", ()):
        by = within(item["on"])
        if by is not None and by >= on:
            yield Due(child, by, f"window opens: {item['stage']}", False)
    if by := within(summary.get("arrest_last")):
        yield Due(child, by, "last useful day of the growth arrest", by < on)
    if summary.get("conflict"):
        yield Due(child, on, "cannot be planned: rules contradict each other", True)


def _when(stage: PlanStage) -> datetime.date:
    return stage.date or datetime.date.max
