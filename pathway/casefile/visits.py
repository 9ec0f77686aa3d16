"""Visits of a case file: the findings of each limb and of the whole child, checked against the catalogue."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import get_args

from pathway.casefile.fields import NAMES, Fields, nearest, show
from pathway.protocol.model import FindingRule, Protocol
from pathway.protocol.skeletal_methods import skeletal_method, stages_of
from pathway.protocol.units import UNITS
from pathway.record import Measurement, Missing, Sex, Side, Visit, WhyMissing

SKELETAL_AGE, SKELETAL_METHOD, SKELETAL_STAGE = "skeletal_age_years", "skeletal_age_method", "skeletal_stage"
SKELETAL = (SKELETAL_AGE, SKELETAL_METHOD, SKELETAL_STAGE)
"""The fields of a skeletal age: they stand beside the date of a visit."""
_PLACES: tuple[tuple[str, Side | None], ...] = (("left", "left"), ("right", "right"), ("child", None))
_REASONS = get_args(WhyMissing)


@dataclass(frozen=True, slots=True)
class _Default:
    """The visit's method, "" when it has none or no known one; `given` says whether it names any."""

    method: str
    given: bool


@dataclass(frozen=True, slots=True)
class Known:
    """What the checks need beside the text: protocol, birth date and sex where readable, and the day of reading."""

    protocol: Protocol
    born: datetime.date | None
    on: datetime.date | None
    sex: Sex | None = None


def day_in_life(fields: Fields, key: str, known: Known, *, past: bool = True) -> datetime.date | None:
    """Return the day of an event: not before birth and, when `past`, not after the day of reading."""
    day = fields.day(key, required=key == "date")
    if day is None:
        return None
    if known.born is not None and day < known.born:
        fields.wrong(key, f"a date on or after the date of birth ({known.born.isoformat()})", "correct the year")
        return None
    if past and known.on is not None and day > known.on:
        expected = f"a date up to {known.on.isoformat()}"
        fields.wrong(key, expected, "record only what has happened, or correct the year")
        return None
    return day


def read_visits(tables: list[Fields], known: Known) -> tuple[Visit, ...]:
    """Return the sound visits in date order; each fault is added to the complaints of its table."""
    seen: dict[datetime.date, int] = {}
    visits = []
    for number, fields in enumerate(tables, start=1):
        visit = _visit(fields, known)
        day = fields.table.get("date")
        if type(day) is datetime.date:
            if day in seen:
                do = f"put the findings of both into visit[{seen[day]}], or correct the date"
                fields.wrong("date", "one visit per day", do, found=f"a second visit on {day.isoformat()}")
            seen.setdefault(day, number)
        if visit is not None:
            visits.append(visit)
    return tuple(sorted(visits, key=lambda visit: visit.date))


def _visit(fields: Fields, known: Known) -> Visit | None:
    day = day_in_life(fields, "date", known)
    methods = tuple(method.id for method in known.protocol.methods)
    method = fields.choice("method", methods, "method") or ""
    bone_age, read_by = _skeletal(fields, known)
    note = fields.text("note")
    default = _Default(method, fields.has("method"))
    measured: list[Measurement] = []
    missing: list[Missing] = []
    for place, side in _PLACES:
        table = fields.one_table(place)
        if table is not None:
            for key in table.table:
                one = _finding(table, key, side, default, known.protocol)
                if isinstance(one, Measurement):
                    measured.append(one)
                elif one is not None:
                    missing.append(one)
    fields.done("a visit")
    if day is None:
        return None
    return Visit(
        date=day,
        method=method,
        skeletal_age_years=bone_age,
        skeletal_age_method=read_by,
        measurements=tuple(measured),
        missing=tuple(missing),
        note=note,
    )


def _skeletal(fields: Fields, known: Known) -> tuple[float | None, str | None]:
    """Return the skeletal age of a visit in years and how it was read; a stage is turned into its years."""
    years = fields.number(SKELETAL_AGE, *skeletal_range(known.protocol), "years")
    methods = tuple(method.id for method in known.protocol.skeletal_methods)
    method = fields.choice(SKELETAL_METHOD, methods, "way of reading a skeletal age")
    stage = fields.take(SKELETAL_STAGE)
    if stage is not None:
        return _of_stage(fields, stage, method, known), method
    if fields.has(SKELETAL_METHOD) and not fields.has(SKELETAL_AGE):
        do = "add `skeletal_age_years` (or `skeletal_stage`), or remove the method"
        fields.wrong(SKELETAL_METHOD, "it beside a skeletal age", do, found="a way of reading without one")
    return years, None if years is None else method


def _of_stage(fields: Fields, raw: object, id: str | None, known: Known) -> float | None:
    if fields.has(SKELETAL_AGE):
        fields.wrong(SKELETAL_STAGE, "either years or a stage", "remove one of the two")
        return None
    method = skeletal_method(known.protocol, id)
    if method is None or method.stages is None:
        named = " or ".join(f'"{one.id}"' for one in known.protocol.skeletal_methods if one.stages is not None)
        do = f"write `{SKELETAL_METHOD} = …` with one of them, or `{SKELETAL_AGE}`"
        fields.wrong(SKELETAL_STAGE, f"a method that reads stages: {named}", do)
        return None
    if known.sex is None:
        return None
    stages = stages_of(known.protocol, method, known.sex)
    stage = f"{raw:g}" if isinstance(raw, int | float) and not isinstance(raw, bool) else raw
    if not isinstance(stage, str) or stage not in stages:
        near = nearest(stage, stages)
        do = f'did you mean "{near}"' if near else f"write one of: {'; '.join(stages)}"
        fields.wrong(SKELETAL_STAGE, f"a stage of the {method.label} that has an age in a {known.sex}", do)
        return None
    return stages[stage]


def skeletal_range(protocol: Protocol) -> tuple[float, float]:
    """Return the least and greatest skeletal age in years that a visit may hold."""
    for rule in protocol.findings:
        if rule.id == SKELETAL_AGE and rule.plausible is not None:
            return rule.plausible
    return 0.0, math.inf


def _finding(
    table: Fields, key: str, side: Side | None, default: _Default, protocol: Protocol
) -> Measurement | Missing | None:
    raw = table.take(key)
    rule = _rule(table, key, side, protocol)
    if rule is None:
        return None
    if not isinstance(raw, Mapping):
        value = _value(table, key, raw, rule)
        if not default.given:
            do = "add `method = …` to the visit or to the finding"
            table.wrong(key, "a measurement method", do, found="a finding without one")
        if value is None:
            return None
        return Measurement(finding=key, side=side, value=value, method=default.method)
    detail = Fields(table.complaints, (*table.path, key), raw)
    if detail.has("not_measured"):
        why = detail.choice("not_measured", _REASONS, "reason", required=True)
        note = detail.text("note")
        if detail.has("value"):
            detail.wrong("value", "either a value or not_measured", "remove one of the two")
            detail.take("value")
        detail.done("a finding that was not measured")
        return None if why is None else Missing(finding=key, side=side, why=why, note=note)
    return _detailed(detail, rule, side, default, protocol)


def _detailed(
    detail: Fields, rule: FindingRule, side: Side | None, default: _Default, protocol: Protocol
) -> Measurement | None:
    raw = detail.take("value")
    value = None
    if raw is None:
        detail.missing("value", "a value, or not_measured with the reason")
    else:
        value = _value(detail, "value", raw, rule)
    methods = tuple(method.id for method in protocol.methods)
    method = detail.choice("method", methods, "method", required=not default.given) or default.method
    note = detail.text("note")
    detail.done("a finding")
    if value is None:
        return None
    return Measurement(finding=rule.id, side=side, value=value, method=method, note=note)


def _rule(table: Fields, key: str, side: Side | None, protocol: Protocol) -> FindingRule | None:
    if key in SKELETAL:
        do = "move it up, beside the date of the visit"
        table.wrong(key, "it beside the date", do, found="the skeletal age among the findings")
        return None
    if key not in protocol.finding_ids():
        enterable = [rule.id for rule in protocol.findings if not rule.derived]
        near = nearest(key, enterable)
        do = f"did you mean `{near}`" if near else NAMES
        table.wrong(key, "a finding of the protocol", do, found="a finding that is not known")
        return None
    rule = protocol.finding(key)
    if rule.derived:
        do = "remove it: it is calculated from other findings"
        table.wrong(key, "a finding that is measured", do, found="a derived finding")
    elif rule.of == "child" and side is not None:
        do = "move it to [visit.child]"
        table.wrong(key, "a finding of one limb", do, found="a finding of the whole child")
    elif rule.of == "limb" and side is None:
        do = "move it to [visit.left] or [visit.right]"
        table.wrong(key, "a finding of the whole child", do, found="a finding of one limb")
    else:
        return rule
    return None


def _value(fields: Fields, key: str, raw: object, rule: FindingRule) -> bool | float | str | None:
    if rule.kind == "number" and rule.plausible is not None:
        return fields.as_number(key, raw, *rule.plausible, UNITS[rule.unit].asked)
    if rule.kind == "flag":
        if isinstance(raw, bool):
            return raw
        fields.wrong(key, "true or false", "write it without quotes", found=show(raw))
        return None
    return fields.choice(key, rule.choices, f"value of {rule.id}")
