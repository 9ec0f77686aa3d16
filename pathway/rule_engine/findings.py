"""The latest value of each finding on a day, or why there is none."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pathway.days import whole_months
from pathway.protocol.model import FindingRule, Protocol
from pathway.protocol.question import Question
from pathway.protocol.skeletal_methods import reading_sd_years
from pathway.record import Leg, Measurement, Missing, Operation, Record, Side, Value, Visit, WhyUnknown

Key = tuple[str, Leg]


@dataclass(frozen=True, slots=True)
class Known:
    """A value that counts on the day: in the finding's unit, with its error (one SD), day and method."""

    value: Value
    sd: float
    measured_on: datetime.date
    method: str


@dataclass(frozen=True, slots=True)
class Unknown:
    """Why a finding has no value that counts; `last` is the value that went out of date.

    What is worked out of several measurements is `never_measured` with a `because` where only some of them are there.
    """

    why: WhyUnknown
    last: Known | None = None
    because: str = ""


Findings = Mapping[Key, Known | Unknown]
NEVER_MEASURED = Unknown("never_measured")


def findings_on(question: Question) -> Findings:
    """Return every finding of the catalogue on `on`, for the affected leg, the other leg and the child.

    Findings of the whole child stand under the leg `affected`. A value is out of date when it is older than
    its validity, or was measured before an operation that alters it; it is then kept as `last`.
    """
    found: dict[Key, Known | Unknown] = {}
    visits = tuple(visit for visit in question.record.visits if visit.date <= question.on)
    last: dict[tuple[str, Side | None], tuple[Visit, Measurement | Missing]] = {}
    for visit in visits:
        entries: tuple[Measurement | Missing, ...] = (*visit.measurements, *visit.missing)
        last |= {(entry.finding, entry.side): (visit, entry) for entry in entries}
    for rule in question.protocol.findings:
        if rule.derived:
            continue
        for leg in ("affected", "other") if rule.of == "limb" else ("affected",):
            side = _side(question.record, leg) if rule.of == "limb" else None
            found[rule.id, leg] = _latest(rule, side, leg, last.get((rule.id, side)), question)
    found.update(_derived(question, visits))
    return found


def current_discrepancy(visit: Visit, record: Record) -> float | None:
    """Return the difference in leg length (mm, affected side shorter positive) as measured at one visit.

    From femur and tibia of both legs where all four were measured, else from the difference entered; None
    where neither is there.
    """
    lengths = _lengths(visit, record)
    if len(lengths) == 4:
        long = lengths["femur", record.other_side] + lengths["tibia", record.other_side]
        return long - lengths["femur", record.affected_side] - lengths["tibia", record.affected_side]
    for item in visit.measurements:
        if item.finding == "leg_length_discrepancy_mm":
            sign = 1 if item.side == record.affected_side else -1
            return sign * float(item.value)
    return None


def measurement_sd(rule: FindingRule, method: str, protocol: Protocol) -> float:
    """Return the error (one SD) of a finding read by a method: the method's for lengths, else the finding's."""
    if rule.unit == "mm":
        of_method = next((m.length_sd_mm for m in protocol.methods if m.id == method), None)
        if of_method is not None:
            return of_method
    return rule.sd


def _side(record: Record, leg: str) -> Side:
    return record.affected_side if leg == "affected" else record.other_side


def _latest(
    rule: FindingRule, side: Side | None, leg: str, last: tuple[Visit, Measurement | Missing] | None, question: Question
) -> Known | Unknown:
    if last is None:
        return NEVER_MEASURED
    visit, entry = last
    if isinstance(entry, Missing):
        return Unknown(entry.why, because=entry.note)
    known = Known(entry.value, measurement_sd(rule, entry.method, question.protocol), visit.date, entry.method)
    altering = _altering_operation(rule.id, side, visit.date, question) if leg == "affected" else None
    if altering is not None:
        label = question.protocol.stage(altering.kind).label.lower()
        return Unknown("out_of_date", known, f"measured before the operation of {altering.date} ({label})")
    return _in_date(known, rule, question.on)


def _in_date(known: Known, rule: FindingRule, on: datetime.date) -> Known | Unknown:
    months = whole_months(known.measured_on, on)
    if rule.valid_months is not None and months >= rule.valid_months:
        return Unknown("out_of_date", known, f"measured {months} months ago, valid for {rule.valid_months}")
    return known


def _altering_operation(
    finding: str, side: Side | None, measured: datetime.date, question: Question
) -> Operation | None:
    for operation in question.record.operations:
        done_after = measured <= operation.date <= question.on
        same_side = side is None or operation.side == side
        if done_after and same_side and finding in question.protocol.stage(operation.kind).alters:
            return operation
    return None


def _lengths(visit: Visit, record: Record) -> dict[tuple[str, Side], float]:
    bones = {"femur_length_mm": "femur", "tibia_length_mm": "tibia"}
    return {
        (bones[item.finding], item.side): float(item.value)
        for item in visit.measurements
        if item.finding in bones and item.side is not None
    }


def _derived(question: Question, visits: tuple[Visit, ...]) -> Iterator[tuple[Key, Known | Unknown]]:
    for flag in question.protocol.findings:
        if flag.of_complications:
            yield (flag.id, "affected"), _recorded(flag, question)
    for name in ("femur_length_ratio", "tibia_length_ratio", "limb_shortening_percent"):
        yield (name, "affected"), _natural(name, question.record, question.protocol, visits)
    yield ("current_discrepancy_mm", "affected"), _current(question, visits)
    films = [visit for visit in visits if len(_lengths(visit, question.record)) == 4]
    on = films[-1].date if films else question.on
    yield ("growth_films", "affected"), Known(float(len(films)), 0.0, on, "computed")
    rule = question.protocol.finding("skeletal_age_years")
    readings = [visit for visit in visits if visit.skeletal_age_years is not None]
    if not readings:
        yield ("skeletal_age_years", "affected"), NEVER_MEASURED
    else:
        last = readings[-1]
        sd, how = reading_sd_years(question.protocol, last.skeletal_age_method), last.skeletal_age_method
        known = Known(float(last.skeletal_age_years or 0.0), sd, last.date, how or "hand_film")
        yield ("skeletal_age_years", "affected"), _in_date(known, rule, question.on)


def _recorded(rule: FindingRule, question: Question) -> Known:
    """Return a flag that the record sets: whether a lengthening of the leg is kept with such a complication."""
    days = [
        operation.date
        for operation in question.record.operations
        if operation.date <= question.on
        and operation.side == question.record.affected_side
        and question.protocol.stage(operation.kind).role == "lengthening"
        and set(operation.complications) & set(rule.of_complications)
    ]
    return Known(bool(days), 0.0, max(days, default=question.on), "computed")


def _natural(name: str, record: Record, protocol: Protocol, visits: tuple[Visit, ...]) -> Known | Unknown:
    """Proportion of the legs before any lengthening: it is what the child was born with."""
    bones = {"femur_length_ratio": ("femur",), "tibia_length_ratio": ("tibia",)}.get(name, ("femur", "tibia"))
    first = min((op.date for op in record.operations if protocol.stage(op.kind).bone in bones), default=None)
    for visit in reversed(visits):
        if first is not None and visit.date > first:
            continue
        lengths = _lengths(visit, record)
        keys = [(bone, side) for bone in bones for side in (record.affected_side, record.other_side)]
        if all(key in lengths for key in keys):
            short = sum(lengths[bone, record.affected_side] for bone in bones)
            long = sum(lengths[bone, record.other_side] for bone in bones)
            value = short / long if name.endswith("_ratio") else 100 * (1 - short / long)
            return Known(round(value, 4), protocol.finding(name).sd, visit.date, "computed")
    whole = f"{' and '.join(bones)} of both legs from one visit"
    return _in_part(visits, bones, whole if first is None else f"{whole} before any lengthening")


def _current(question: Question, visits: tuple[Visit, ...]) -> Known | Unknown:
    rule = question.protocol.finding("current_discrepancy_mm")
    for visit in reversed(visits):
        value = current_discrepancy(visit, question.record)
        if value is None:
            continue
        known = Known(value, rule.sd, visit.date, "computed")
        for operation in question.record.operations:
            if question.protocol.stage(operation.kind).bone is not None and visit.date <= operation.date <= question.on:
                return Unknown("out_of_date", known, f"measured before the operation of {operation.date}")
        return _in_date(known, rule, question.on)
    return _in_part(visits, ("femur", "tibia"), "femur and tibia of both legs from one visit, or the difference itself")


def _in_part(visits: tuple[Visit, ...], bones: tuple[str, ...], needed: str) -> Unknown:
    """Return why a value cannot be worked out: bones that were measured, but not together, are not unmeasured."""
    lengths = {f"{bone}_length_mm" for bone in bones}
    seen = any(item.finding in lengths for visit in visits for item in visit.measurements)
    return Unknown("never_measured", because=f"it needs {needed}") if seen else NEVER_MEASURED
