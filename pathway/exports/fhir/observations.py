"""Findings as Observations: every value of every visit, and what is not known with the reason why."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from pathway.exports.fhir.codes import (
    ABSENT,
    ABSENT_SYSTEM,
    CHOICES,
    FINDINGS,
    HEIGHT,
    METHODS,
    TERMINOLOGY,
    Json,
    coding,
    concept,
    quantity,
    site,
)
from pathway.exports.fhir.parts import Addresses
from pathway.plan.model import Plan
from pathway.protocol.model import FindingRule, Protocol
from pathway.record import Measurement, Record, Value

HEIGHT_ID, SKELETAL_AGE = "standing_height_mm", "skeletal_age_years"


def observations(record: Record, plan: Plan, protocol: Protocol, at: Addresses) -> Iterator[Json]:
    """Yield the findings of every visit until the day of the plan, then what the plan asks for and nobody knows."""
    told: set[tuple[str, str]] = set()
    for visit in record.until(plan.on).visits:
        hand = visit.skeletal_age_years
        read = visit.skeletal_age_method or ""
        films = (Measurement(finding=SKELETAL_AGE, side=None, value=hand, method=read),) if hand is not None else ()
        day = visit.date
        for item in (*visit.measurements, *films):
            yield _measured(item, day, protocol, at)
        for gap in visit.missing:
            told.add((gap.finding, gap.side or ""))
            yield _absent(protocol.finding(gap.finding), gap.side, day, gap.why, "final", at)
    for question in plan.open_questions:
        rule = protocol.finding(question.finding)
        side = (question.side or record.affected_side) if rule.of == "limb" else None
        if not rule.derived and (rule.id, side or "") not in told:
            told.add((rule.id, side or ""))
            absent = _absent(rule, side, plan.on, question.why_unknown, "registered", at)
            # A finding of this very day may be out of date already, by an operation: the value keeps its own address.
            yield {**absent, "id": at.id("question", rule.id, *filter(None, (question.side if side else "",)))}


def _measured(item: Measurement, day: datetime.date, protocol: Protocol, at: Addresses) -> Json:
    rule = protocol.finding(item.finding)
    made = _head(rule, item.side, day, "final", at)
    if item.method:
        named = {method.id: method.label for method in protocol.methods}
        named |= {method.id: method.label for method in protocol.skeletal_methods}
        label = named.get(item.method, item.method.replace("_", " "))
        made["method"] = concept(label, coding(METHODS, item.method))
    return {**made, **_value(rule, item.value)}


def _value(rule: FindingRule, value: Value) -> Json:
    if isinstance(value, bool):
        return {"valueBoolean": value}
    if isinstance(value, str):
        return {"valueCodeableConcept": concept(value.replace("_", " "), coding(f"{CHOICES}/{rule.id}", value))}
    if rule.id == HEIGHT_ID:
        # The standard's profile of a body height knows centimetres and inches only.
        return {"valueQuantity": {**quantity(round(value / 10, 4), "mm"), "unit": "cm", "code": "cm"}}
    return {"valueQuantity": quantity(value, rule.unit)}


def _absent(rule: FindingRule, side: str | None, day: datetime.date, why: str, status: str, at: Addresses) -> Json:
    code, display = ABSENT[why]
    reason = concept(why.replace("_", " "), coding(ABSENT_SYSTEM, code, display))
    return {**_head(rule, side, day, status, at), "dataAbsentReason": reason}


def _head(rule: FindingRule, side: str | None, day: datetime.date, status: str, at: Addresses) -> Json:
    codings = [coding(FINDINGS, rule.id)]
    category = []
    if rule.id == HEIGHT_ID:
        codings.insert(0, coding(*HEIGHT))
        vital = coding(f"{TERMINOLOGY}/observation-category", "vital-signs", "Vital Signs")
        category = [concept("vital signs", vital)]
    return {
        "resourceType": "Observation",
        "id": at.id("observation", rule.id, side or "child", day.isoformat()),
        "status": status,
        **({"category": category} if category else {}),
        "code": concept(rule.label, *codings),
        "subject": at.subject,
        "effectiveDateTime": day.isoformat(),
        **({"bodySite": site(rule.id, side)} if side else {}),
    }
