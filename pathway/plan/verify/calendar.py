"""The judge of days: operations on days that clinic and family left open, examinations before what they judge."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from pathway.days import add_months
from pathway.plan.model import Plan, PlanStage
from pathway.plan.verify.breach import Breach
from pathway.protocol.model import Protocol
from pathway.record import BlockedWeeks, Record

BEGUN = ("done", "under_way")
BEFORE = "examination_before_"
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def calendar_breaches(plan: Plan, record: Record, protocol: Protocol) -> Iterator[Breach]:
    """Yield every operation on a day that is not free, every examination out of its time, every wrong slack."""
    first = plan.on + datetime.timedelta(days=int(protocol.number("planning_lead_days")))
    weekdays, closed = _open_weekdays(record, protocol), _closed(record, protocol)
    for stage in plan.stages:
        if stage.date is None or stage.status in BEGUN:
            continue
        if stage.operation:
            yield from _operation(stage, stage.date, first, weekdays, closed, record)
        if protocol.stage(stage.kind).role == "reexamination":
            yield from _examination(plan, stage, stage.date, protocol)
        yield from _slack(stage, stage.date)


def _operation(
    stage: PlanStage,
    day: datetime.date,
    first: datetime.date,
    weekdays: tuple[str, ...],
    closed: tuple[BlockedWeeks, ...],
    record: Record,
) -> Iterator[Breach]:
    if day < first:
        yield Breach("planning_lead_days", stage.id, f"{stage.id} is planned for {day}, before {first}")
    name = WEEKDAYS[day.weekday()]
    if name not in weekdays:
        kind = "a weekend" if day.isoweekday() > 5 else f"a {name.capitalize()}, which is no day for operations"
        yield Breach("working days", stage.id, f"{stage.id} on {day} falls on {kind}")
    for weeks in closed:
        if weeks.from_date <= day <= weeks.to_date:
            yield Breach("clinic closed", stage.id, f"{stage.id} on {day}: the clinic is closed ({weeks.reason})")
    for decision in record.decisions:
        if not (decision.kind == "block_dates" and decision.from_date and decision.to_date):
            continue
        if decision.from_date <= day <= decision.to_date:
            yield Breach("block_dates", stage.id, f"{stage.id} on {day} lies in blocked dates")


def _open_weekdays(record: Record, protocol: Protocol) -> tuple[str, ...]:
    own = record.calendar.operating_weekdays if record.calendar else None
    return own if own is not None else tuple(day for item in protocol.calendars for day in item.operating_weekdays)


def _closed(record: Record, protocol: Protocol) -> tuple[BlockedWeeks, ...]:
    own = record.calendar.blocked if record.calendar else None
    return own if own is not None else tuple(weeks for item in protocol.calendars for weeks in item.blocked)


def _examination(plan: Plan, seen: PlanStage, day: datetime.date, protocol: Protocol) -> Iterator[Breach]:
    """An examination stands before a dated stage, no earlier than its gates are looked at again, never in the past."""
    judged = next((stage for stage in plan.stages if f"{BEFORE}{stage.id}" == seen.id), None)
    if judged is None or judged.date is None:
        yield Breach("examination", seen.id, f"{seen.id} stands before no stage with a date")
        return
    months = [gate.look_again_months for gate in protocol.gates if gate.guards == judged.kind]
    if day > judged.date:
        yield Breach("examination", seen.id, f"{seen.id} on {day} comes after {judged.id} on {judged.date}")
    if day < plan.on:
        yield Breach("examination", seen.id, f"{seen.id} on {day} lies before the day of the plan")
    if months and day < add_months(judged.date, -max(months)):
        text = f"{seen.id} on {day} comes more than {max(months)} months before {judged.id} on {judged.date}"
        yield Breach("examination", seen.id, text)


def _slack(stage: PlanStage, day: datetime.date) -> Iterator[Breach]:
    """The slack is what the window leaves after the date; moving nothing else is never more than that."""
    latest = stage.window.latest if stage.window else None
    if stage.slack_days is not None and (latest is None or stage.slack_days != (latest - day).days):
        yield Breach("slack", stage.id, f"{stage.id} states {stage.slack_days} days of slack, its window other ones")
    free = stage.free_slack_days
    if free is not None and (free < 0 or (stage.slack_days is not None and free > stage.slack_days)):
        yield Breach("slack", stage.id, f"{stage.id} may slip {free} days freely and {stage.slack_days} at all")
