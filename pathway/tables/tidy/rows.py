"""The rows of each table, from what is known of a child and the plans that were accepted for it."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pathway.days import age_years, days_between, in_months
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.questions.achieved import achieved
from pathway.record import Operation, Record, Visit
from pathway.results.lengthenings import lengthenings_of
from pathway.tables.tidy.fields import Kind, fields_of

Value = str | float | int | bool | datetime.date | None
Row = dict[str, Value]
_BEGUN = ("done", "under_way")


@dataclass(frozen=True, slots=True)
class AcceptedPlan:
    """A plan that was accepted, as data: its number within the child, its day, and the day on which it was accepted."""

    number: int
    on: datetime.date
    accepted: datetime.date
    protocol_version: str
    recommended: bool
    plan: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Kept:
    """What a registry keeps of one child, up to a day."""

    record: Record
    plans: tuple[AcceptedPlan, ...]
    protocol: Protocol
    on: datetime.date


def rows_of_child(kind: Kind, kept: Kept, *, dates: bool) -> Iterator[tuple[Value, ...]]:
    """Yield the rows of a child in the order of the columns; days only where `dates` are asked for."""
    names = [field.name for field in fields_of(kind, dates=dates)]
    child = kept.record.child
    about: Row = {
        "child": child.id,
        "sex": child.sex,
        "affected_side": child.affected_side,
        "diagnosis": child.diagnosis,
        "growth_pattern": child.growth_pattern,
        "date_of_birth": child.date_of_birth,
    }
    for row in _ROWS[kind](kept):
        whole = {**about, **row}
        yield tuple(_plain(whole.get(name)) for name in names)


def _plain(value: Value) -> Value:
    if isinstance(value, datetime.date):
        return datetime.date(value.year, value.month, value.day)
    return value


def _visits(kept: Kept) -> Iterator[Row]:
    rules = {rule.id: rule for rule in kept.protocol.findings}
    for visit in kept.record.visits:
        about: Row = {**_when(kept.record, visit.date), "visit_method": visit.method or None}
        yield from ({**about, **row} for row in _skeletal(visit))
        for one in visit.measurements:
            number = isinstance(one.value, float) and not isinstance(one.value, bool)
            yield {
                **about,
                "finding": one.finding,
                "side": one.side,
                "value": one.value if number else None,
                "category": None if number else _category(one.value),
                "unit": (rules[one.finding].unit or None) if one.finding in rules else None,
                "method": one.method,
            }
        for gap in visit.missing:
            yield {**about, "finding": gap.finding, "side": gap.side, "not_measured": gap.why}


def _skeletal(visit: Visit) -> Iterator[Row]:
    if visit.skeletal_age_years is not None:
        yield {
            "finding": "skeletal_age_years",
            "value": visit.skeletal_age_years,
            "unit": "years",
            "method": visit.skeletal_age_method,
        }


def _category(value: object) -> str:
    return {True: "true", False: "false"}[value] if isinstance(value, bool) else str(value)


def _stages(kept: Kept) -> Iterator[Row]:
    for number, one in _numbered(kept.record.operations):
        ended = one.device_removed
        yield {
            **_when(kept.record, one.date),
            "stage": one.kind,
            "number": number,
            "side": one.side,
            "status": "recorded",
            "operation": _is_operation(one.kind, kept.protocol),
            "end_date": ended,
            "duration_months": None if ended is None else in_months(days_between(one.date, ended)),
            "amount_mm": one.achieved_mm,
            "amount_deg": one.achieved_deg,
            "device": one.device,
            "physes": " ".join(one.physes) or None,
        }
    if not kept.plans:
        return
    last = kept.plans[-1]
    for stage in last.plan.get("stages", ()):
        if stage.get("status") not in _BEGUN:
            yield {**_planned(stage), "revision": last.number}


def _planned(stage: Mapping[str, Any]) -> Row:
    device = stage.get("device") or {}
    side = stage.get("side")
    return {
        "stage": stage["kind"],
        "number": stage.get("number", 1),
        "side": side if side in ("left", "right") else None,
        "status": stage.get("status"),
        "operation": stage.get("operation"),
        "date": _day(stage.get("date")),
        "end_date": _day(stage.get("end_date")),
        "age_years": _thousandth(stage.get("age_years")),
        "duration_months": stage.get("duration_months"),
        "amount_mm": stage.get("amount_mm"),
        "amount_deg": stage.get("amount_deg"),
        "device": device.get("id"),
        "physes": " ".join(stage.get("physes", ())) or None,
    }


def _revisions(kept: Kept) -> Iterator[Row]:
    for one in kept.plans:
        courses = one.plan.get("alternatives", ())
        best: Mapping[str, Any] = next((course for course in courses if course.get("recommended")), {})
        expected = best.get("expected") or {}
        maturity = (one.plan.get("growth") or {}).get("at_maturity") or {}
        coming = _first_operation(one.plan)
        yield {
            **_when(kept.record, one.on),
            "revision": one.number,
            "accepted_date": one.accepted,
            "protocol_version": one.protocol_version,
            "recommended": one.recommended,
            "course": best.get("id"),
            "next_stage": coming.get("kind"),
            "next_age_years": _thousandth(coming.get("age_years")),
            "untreated_difference_mm": (maturity.get("discrepancy_mm") or {}).get("p50"),
            "expected_operations": (expected.get("operations") or {}).get("mean"),
            "expected_device_months": (expected.get("device_months") or {}).get("mean"),
            "chance_within_20_mm": best.get("chance_within_20_mm"),
        }


def _first_operation(plan: Mapping[str, Any]) -> Mapping[str, Any]:
    coming = [
        stage
        for stage in plan.get("stages", ())
        if stage.get("operation") and stage.get("date") and stage.get("status") not in _BEGUN
    ]
    return min(coming, key=lambda stage: str(stage["date"]), default={})


def _outcomes(kept: Kept) -> Iterator[Row]:
    sheets = {(one.on, one.side): one for one in achieved(Question(kept.record, kept.protocol, kept.on))}
    for number, one in _numbered(kept.record.operations):
        planned, revision = _planned_before(one, kept.plans)
        about = {**_when(kept.record, one.date), "stage": one.kind, "number": number, "side": one.side}
        sheet = sheets.get((one.date, one.side)) if one.planned is not None else None
        for difference in () if sheet is None else sheet.differences:
            unit = difference.name.rpartition("_")[2]
            row = _compared(difference.name, unit, difference.planned, difference.achieved, None)
            yield {**about, **row, "reading_sd": difference.reading_sd}
        worn = None if one.device_removed is None else in_months(days_between(one.date, one.device_removed))
        for quantity, unit, aim, reached in (
            ("gain_mm", "mm", planned.get("amount_mm"), None if sheet is not None else one.achieved_mm),
            ("gain_deg", "deg", planned.get("amount_deg"), one.achieved_deg),
            ("device_months", "months", planned.get("duration_months") if worn is not None else None, worn),
        ):
            if aim is not None or reached is not None:
                yield {**about, **_compared(quantity, unit, aim, reached, revision if aim is not None else None)}
        for complication in one.complications:
            yield {**about, "quantity": "complication", "complication": complication}


def _lengthenings(kept: Kept) -> Iterator[Row]:
    def planned_mm(one: Operation) -> float | None:
        amount = _planned_before(one, kept.plans)[0].get("amount_mm")
        return None if amount is None else float(amount)

    for one in lengthenings_of(kept.record, kept.protocol, kept.on, planned_mm):
        yield {
            "congenital": one.congenital,
            "bone": one.bone,
            "number": one.number,
            "age_years": round(one.age_years, 1),
            "bone_mm": one.bone_mm,
            "planned_mm": one.planned_mm,
            "achieved_mm": one.achieved_mm,
            "percent": None if one.percent is None else round(one.percent, 1),
            "device": one.device.id,
            "device_kind": one.device.kind,
            "device_months": one.device_months,
            "hip_cover": one.hip_cover,
            "events": " ".join(one.events) or None,
            "followed_months": one.followed_months,
        }


def _compared(quantity: str, unit: str, planned: float | None, reached: float | None, revision: int | None) -> Row:
    known = planned is not None and reached is not None
    return {
        "quantity": quantity,
        "unit": unit,
        "planned": planned,
        "achieved": reached,
        "difference": round(reached - planned, 6) if known and reached is not None and planned is not None else None,
        "revision": revision,
    }


def _planned_before(one: Operation, plans: Sequence[AcceptedPlan]) -> tuple[Mapping[str, Any], int | None]:
    """Return the stage of the last plan up to an operation that planned it, and the number of that plan."""
    for plan in reversed([plan for plan in plans if plan.on <= one.date]):
        for stage in plan.plan.get("stages", ()):
            same = stage.get("kind") == one.kind and stage.get("side") == one.side
            if same and stage.get("status") not in _BEGUN:
                return stage, plan.number
    return {}, None


def _numbered(operations: Sequence[Operation]) -> Iterator[tuple[int, Operation]]:
    so_far: Counter[tuple[str, str]] = Counter()
    for one in operations:
        so_far[one.kind, one.side] += 1
        yield so_far[one.kind, one.side], one


def _is_operation(kind: str, protocol: Protocol) -> bool | None:
    return next((stage.operation for stage in protocol.stages if stage.id == kind), None)


def _when(record: Record, day: datetime.date) -> Row:
    return {"date": day, "age_years": _thousandth(age_years(record.child.date_of_birth, day))}


def _thousandth(years: float | None) -> float | None:
    return None if years is None else round(years, 3)


def _day(text: object) -> datetime.date | None:
    return None if text is None else datetime.date.fromisoformat(str(text))


_ROWS: Mapping[Kind, Callable[[Kept], Iterator[Row]]] = {
    "visits": _visits,
    "stages": _stages,
    "revisions": _revisions,
    "outcomes": _outcomes,
    "lengthenings": _lengthenings,
}
