"""What is entered at a follow-up, as TOML tables of a case file: from `name=value` words, or given as a fragment."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence

from pathway.casefile.read import read_case
from pathway.casefile.write import case_text, plain
from pathway.problems import Problem
from pathway.protocol.model import Protocol
from pathway.record import Record, Visit

SIDES = ("left", "right", "child")
SKELETAL_AGE = "skeletal_age_years"


def visit_fragment(
    date: datetime.date,
    method: str,
    settings: Sequence[str],
    own_methods: Mapping[str, str] | None = None,
    missing: Mapping[str, str] | None = None,
) -> str | Problem:
    """Return a visit as TOML from words such as `left.femur_length_mm=183`, or the fault of a word.

    `child.` stands before findings of the whole child, nothing before the skeletal age. `own_methods` names, by
    `side.finding`, the method of a finding that was not measured by that of the visit, `missing` why a finding that
    was asked for was not obtained.
    """
    own = own_methods or {}
    lines = ["[[visit]]", f"date = {date.isoformat()}", f'method = "{method}"']
    tables: dict[str, list[str]] = {side: [] for side in SIDES}
    for word in settings:
        name, equals, value = (part.strip() for part in word.partition("="))
        side, dot, finding = name.rpartition(".")
        if not equals or not value or (side not in SIDES and name != SKELETAL_AGE):
            wanted = "side.finding=value, such as left.femur_length_mm=183"
            return Problem("--set", "", None, f'"{word}"', wanted, "write left., right. or child. before the finding")
        shown = _shown(_typed(value))
        if name in own and dot:
            shown = f"{{ value = {shown}, method = {_shown(own[name])} }}"
        line = f"{finding if dot else name} = {shown}"
        (tables[side] if dot else lines).append(line)
    for name, why in (missing or {}).items():
        side, _, finding = name.rpartition(".")
        tables[side].append(f"{finding} = {{ not_measured = {_shown(why)} }}")
    for side, entries in tables.items():
        if entries:
            lines += [f"  [visit.{side}]", *(f"  {entry}" for entry in entries)]
    return "\n".join(lines) + "\n"


def table_fragment(kind: str, fields: Mapping[str, object]) -> str:
    """Return one `[[operation]]` or `[[decision]]` as TOML; dates and numbers as such, the rest as text."""
    lines = [f"[[{kind}]]"]
    for name, value in fields.items():
        if value is None or value == ():
            continue
        lines.append(f"{name} = {_shown(value)}")
    return "\n".join(lines) + "\n"


def with_fragment(
    record: Record, fragment: str, name: str, protocol: Protocol, on: datetime.date
) -> Record | tuple[Problem, ...]:
    """Return the record with what a fragment holds, or its faults; their lines are those of the fragment.

    A visit on a day that has one already adds to it; what it says again replaces what stood there.
    """
    bare = case_text(Record(child=record.child))
    before = bare.count("\n") + 1
    read = read_case(f"{bare}\n{fragment}", name, protocol, on)
    if not isinstance(read, Record):
        return tuple(_moved(fault, before) for fault in read)
    days = {visit.date: visit for visit in record.visits}
    for visit in read.visits:
        days[visit.date] = _joined(days[visit.date], visit) if visit.date in days else visit
    return Record(
        child=record.child,
        visits=tuple(days[date] for date in sorted(days)),
        operations=tuple(sorted({*record.operations, *read.operations}, key=lambda one: (one.date, one.kind))),
        decisions=tuple(sorted((*record.decisions, *read.decisions), key=lambda one: one.date)),
        calendar=read.calendar or record.calendar,
    )


def _joined(old: Visit, new: Visit) -> Visit:
    said = {(one.finding, one.side) for one in new.measurements} | {(one.finding, one.side) for one in new.missing}
    years = new.skeletal_age_years if new.skeletal_age_years is not None else old.skeletal_age_years
    return old.model_copy(
        update={
            "skeletal_age_years": years,
            "measurements": (*(m for m in old.measurements if (m.finding, m.side) not in said), *new.measurements),
            "missing": (*(m for m in old.missing if (m.finding, m.side) not in said), *new.missing),
        }
    )


def _moved(fault: Problem, before: int) -> Problem:
    line = None if fault.line is None or fault.line <= before else fault.line - before
    return Problem(fault.place, fault.key, line, fault.found, fault.expected, fault.remedy)


def _typed(value: str) -> object:
    """Return what a word means in TOML: numbers, true and false as such, everything else as text."""
    if value in ("true", "false"):
        return value == "true"
    try:
        return float(value)
    except ValueError:
        return value


def _shown(value: object) -> str:
    """Return a value as TOML."""
    import tomlkit  # noqa: PLC0415  (only entering needs it)

    return str(tomlkit.item(plain(value)).as_string())
