"""Writing a record as a case file that reads back to the same record."""

from __future__ import annotations

import datetime
from typing import Any

from pathway.casefile.read import SCHEMA_VERSION
from pathway.record import PLACES, CaseCalendar, Decision, Measurement, Missing, Operation, Record, Visit, in_order


def case_text(record: Record) -> str:
    """Return a case file (TOML) that `read_case` reads back to `in_order(record)`; mm, degrees, years.

    Raises ValueError when a visit holds the same finding of the same side twice: a file has room for one.
    """
    import tomlkit  # noqa: PLC0415  (only saving needs it; the first screen does not wait for it)

    ordered = in_order(record)
    document = tomlkit.document()
    document.add("schema_version", tomlkit.item(SCHEMA_VERSION))
    document.add(tomlkit.nl())
    document.add("child", _table(_filled(record.child.model_dump())))
    if ordered.calendar is not None:
        document.add(tomlkit.nl())
        document.add("calendar", _calendar(ordered.calendar))
    for name, tables in (
        ("visit", [_visit(visit) for visit in ordered.visits]),
        ("operation", [_operation(one) for one in ordered.operations]),
        ("decision", [_table(_decision(one)) for one in ordered.decisions]),
    ):
        if tables:
            listed = tomlkit.aot()
            for table in tables:
                listed.append(table)
            document.add(tomlkit.nl())
            document.add(name, listed)
    return tomlkit.dumps(document)


def _calendar(calendar: CaseCalendar) -> Any:
    import tomlkit  # noqa: PLC0415  (as above)

    spans = {"blocked": calendar.blocked, "school_holidays": calendar.school_holidays}
    plain = _filled(calendar.model_dump(exclude=set(spans)))
    table = _table({**plain, **{name: () for name, items in spans.items() if items == ()}})
    for name, items in spans.items():
        if items:
            listed = tomlkit.aot()
            for item in items:
                listed.append(_table(item.model_dump(by_alias=True)))
            table.append(name, listed)
    return table


def _visit(visit: Visit) -> Any:
    skeletal = {name: getattr(visit, name) for name in ("skeletal_age_years", "skeletal_age_method")}
    table = _table(_filled({"date": visit.date, "method": visit.method, **skeletal, "note": visit.note}))
    for side in PLACES:
        measured = [(one.finding, _measured(one, visit.method)) for one in visit.measurements if one.side == side]
        missing = [(gap.finding, _missing(gap)) for gap in visit.missing if gap.side == side]
        findings = dict(measured + missing)
        if len(findings) < len(measured) + len(missing):
            raise ValueError(f"a finding occurs twice in the visit of {visit.date.isoformat()}")
        if findings:
            table.append(side or "child", _table(findings))
    return table


def _measured(one: Measurement, method: str) -> object:
    if one.method == method and not one.note:
        return one.value
    own_method = "" if one.method == method else one.method
    detail: dict[str, object] = {"value": one.value, "method": own_method, "note": one.note}
    return _inline(_filled(detail))


def _missing(gap: Missing) -> object:
    return _inline(_filled({"not_measured": gap.why, "note": gap.note}))


def _operation(one: Operation) -> Any:
    fields = one.model_dump(exclude={"planned"})
    table = _table(_filled({key: value for key, value in fields.items() if value != ()}))
    if one.planned is not None:
        table.append("planned", _table(_filled(one.planned.model_dump())))
    return table


def _decision(one: Decision) -> dict[str, object]:
    fields = one.model_dump()
    fields["from"], fields["to"] = fields.pop("from_date"), fields.pop("to_date")
    return _filled(fields)


def _filled(fields: dict[str, object]) -> dict[str, object]:
    return {key: value for key, value in fields.items() if value is not None and value != ""}


def _table(fields: dict[str, object]) -> Any:
    import tomlkit  # noqa: PLC0415  (as above)

    table = tomlkit.table()
    for key, value in fields.items():
        table.add(key, tomlkit.item(plain(value)))
    return table


def _inline(fields: dict[str, object]) -> Any:
    import tomlkit  # noqa: PLC0415  (as above)

    table = tomlkit.inline_table()
    for key, value in fields.items():
        table.append(key, tomlkit.item(plain(value)))
    return table


def plain(value: object) -> Any:
    """Return a value as people write it: whole numbers without a point, plain dates."""
    if isinstance(value, datetime.date):
        return datetime.date(value.year, value.month, value.day)
    if isinstance(value, tuple):
        return list(value)
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return int(value)
    return value
