"""Reading a case file: TOML text in, a `Record` or every fault of the text out."""

from __future__ import annotations

import datetime
import math
from typing import Any, TypeVar, get_args

from pydantic import BaseModel

from pathway.casefile.calendar import read_calendar
from pathway.casefile.fields import Complaints, Fields, Table
from pathway.casefile.planned import read_planned
from pathway.casefile.syntax import parse
from pathway.casefile.visits import Known, day_in_life, read_visits
from pathway.events import FollowUp, NewCalendar
from pathway.plain_text import PSEUDONYM
from pathway.preferences import PREFERENCES
from pathway.problems import Problem
from pathway.protocol.model import Protocol
from pathway.protocol.roles import may_be_declined, predecessor_of
from pathway.record import CaseCalendar, Child, Decision, Operation, Record, Sex, Visit

SCHEMA_VERSION = 1
PHYSES = ("distal_femur", "proximal_tibia", "distal_tibia", "proximal_femur")
Model = TypeVar("Model", bound=BaseModel)
PATTERNS = ("congenital", "developmental")
_SIDES = ("left", "right")
_KINDS = get_args(Decision.model_fields["kind"].annotation)
_NEEDS = {
    "waive_gate": ("gate",),
    "block_dates": ("from", "to"),
    "choose_course": ("course",),
    "prefer": ("prefer",),
    "decline": ("stage",),
    "no_device": ("from", "to"),
    "finish_before": ("before",),
    "at_most_lengthenings": ("number",),
    "lift_at_most": ("mm",),
}
MOST_LENGTHENINGS = 9
HIGHEST_LIFT_MM = 300


def read_case(
    text: str, name: str, protocol: Protocol, on: datetime.date | None = None
) -> Record | tuple[Problem, ...]:
    """Return the record that a case file holds, or all its faults in the order of their lines.

    `name` says where the text came from and opens each fault. With `on`, visits and operations after that
    day are faults. Lengths mm, angles degrees, ages decimal years; visits, operations and decisions come in
    date order. A text that is no TOML has one fault. Raises nothing for any text.
    """
    text = text.removeprefix("\ufeff")
    document = parse(text, name)
    if isinstance(document, Problem):
        return (document,)
    complaints = Complaints(name)
    record = _record(Fields(complaints, (), document), protocol, on)
    return complaints.faults(text) if record is None else record


def read_child(
    table: Table, name: str, protocol: Protocol, on: datetime.date | None = None
) -> Child | tuple[Problem, ...]:
    """Return the child that the fields of a `[child]` table tell of, or all their faults."""
    complaints = Complaints(name)
    child = _child(Fields(complaints, ("child",), table), protocol, on)
    return complaints.faults("") if child is None else child


def read_events(
    tables: Table, child: Child, name: str, protocol: Protocol, on: datetime.date, text: str = ""
) -> FollowUp | tuple[Problem, ...]:
    """Return the events that tables of a case file tell of a child, or all their faults.

    The tables are held to what a case file is held to. `text` is where they were read from, for the lines of faults.
    """
    complaints = Complaints(name)
    fields = Fields(complaints, (), tables)
    told = _told(fields, Known(protocol, child.date_of_birth, on, child.sex), child.affected_side)
    fields.done("a follow-up")
    if complaints.entries:
        return complaints.faults(text)
    visits, operations, decisions, calendar = told
    return FollowUp((*visits, *operations, *decisions, *(() if calendar is None else (NewCalendar(calendar),))))


def read_fragment(
    text: str, child: Child, name: str, protocol: Protocol, on: datetime.date
) -> FollowUp | tuple[Problem, ...]:
    """Return the events of a text with `[[visit]]`, `[[operation]]` and so on, or all its faults."""
    text = text.removeprefix("\ufeff")
    document = parse(text, name)
    return (document,) if isinstance(document, Problem) else read_events(document, child, name, protocol, on, text)


def _record(fields: Fields, protocol: Protocol, on: datetime.date | None) -> Record | None:
    version = fields.take("schema_version")
    if isinstance(version, bool) or version != SCHEMA_VERSION:
        do = f"write `schema_version = {SCHEMA_VERSION}` at the top"
        fields.wrong("schema_version", str(SCHEMA_VERSION), do)
    section = fields.one_table("child", required=True)
    child = None if section is None else _child(section, protocol, on)
    born = None if section is None else section.table.get("date_of_birth")
    sex = None if section is None else next((one for one in get_args(Sex) if one == section.table.get("sex")), None)
    known = Known(protocol, born if type(born) is datetime.date else None, on, sex)
    side = None if section is None else section.table.get("affected_side")
    visits, operations, decisions, calendar = _told(fields, known, side)
    fields.done("a case file")
    if child is None or fields.complaints.entries:
        return None
    return Record(child=child, visits=visits, operations=operations, decisions=decisions, calendar=calendar)


def _told(
    fields: Fields, known: Known, affected: object
) -> tuple[tuple[Visit, ...], tuple[Operation, ...], tuple[Decision, ...], CaseCalendar | None]:
    visits = read_visits(fields.tables("visit"), known)
    operations = [_operation(table, known, affected) for table in fields.tables("operation")]
    decisions = [_decision(table, known) for table in fields.tables("decision")]
    table = fields.one_table("calendar")
    return (
        visits,
        tuple(sorted((one for one in operations if one), key=lambda one: one.date)),
        tuple(sorted((one for one in decisions if one), key=lambda one: one.date)),
        None if table is None else read_calendar(table),
    )


def _child(fields: Fields, protocol: Protocol, on: datetime.date | None) -> Child | None:
    pseudonym = fields.text("id", "a pseudonym such as maple-03")
    if pseudonym.strip() and not PSEUDONYM.fullmatch(pseudonym):
        do = "use a pseudonym, never a name"
        fields.wrong("id", "only small letters a to z, digits and hyphens", do)
    born = fields.day("date_of_birth", required=True)
    if born is not None and on is not None and born > on:
        fields.wrong("date_of_birth", f"a date up to {on.isoformat()}", "correct the year")
    sex = fields.choice("sex", get_args(Sex), "sex", required=True)
    side = fields.choice("affected_side", (*_SIDES, "both"), "side", required=True)
    diagnoses = tuple(diagnosis.id for diagnosis in protocol.diagnoses)
    diagnosis = fields.choice("diagnosis", diagnoses, "diagnosis", required=True)
    pattern = fields.choice("growth_pattern", PATTERNS, "growth pattern")
    note = fields.text("note")
    fields.done("the child")
    return _built(
        fields,
        Child,
        id=pseudonym,
        date_of_birth=born,
        sex=sex,
        affected_side=side,
        diagnosis=diagnosis,
        growth_pattern=pattern,
        note=note,
    )


def _operation(fields: Fields, known: Known, affected: object) -> Operation | None:
    protocol = known.protocol
    kind = fields.choice("kind", tuple(stage.id for stage in protocol.stages), "stage", required=True)
    day = day_in_life(fields, "date", known)
    side = fields.choice("side", _SIDES, "side", required=True)
    if kind is not None and side is not None:
        _check_side(fields, kind, side, affected, protocol)
    leader = None if kind is None else predecessor_of(protocol.stage(kind), protocol)
    if leader is not None:
        do = f"write the date as `device_removed` of the {leader.id} and remove this operation"
        fields.wrong("kind", f"an operation other than the end of a {leader.id}", do)
    if kind is not None and protocol.stage(kind).bone is None and fields.has("device"):
        fields.wrong("device", "no device, because it lengthens no bone", "remove it")
    achieved_mm = fields.number("achieved_mm", 0, longest_mm(kind, protocol), "mm")
    achieved_deg = fields.number("achieved_deg", -180, 180, "degrees")
    physes = fields.words("physes", PHYSES, "growth plate")
    removed = day_in_life(fields, "device_removed", known)
    if day is not None and removed is not None and removed < day:
        expected = f"a date on or after the operation ({day.isoformat()})"
        fields.wrong("device_removed", expected, "correct one of the two dates")
    device = fields.choice("device", _devices(kind, protocol), "device")
    complications = fields.words("complications", protocol.complications, "complication")
    sheet = fields.one_table("planned")
    if sheet is not None and kind is not None and protocol.stage(kind).role != "neck_shaft_correction":
        fields.wrong("planned", "no sheet of an osteotomy of the upper femur, which this is not", "remove it")
        sheet = None
    planned = None if sheet is None else read_planned(sheet, protocol)
    note = fields.text("note")
    fields.done("an operation")
    return _built(
        fields,
        Operation,
        kind=kind,
        date=day,
        side=side,
        achieved_mm=achieved_mm,
        achieved_deg=achieved_deg,
        physes=physes,
        device_removed=removed,
        device=device,
        complications=complications,
        planned=planned,
        note=note,
    )


def _devices(kind: str | None, protocol: Protocol) -> tuple[str, ...]:
    """Return the devices that lengthen the bone of a stage; all of them where the stage is none."""
    bone = None if kind is None else protocol.stage(kind).bone
    return tuple(device.id for device in protocol.devices if bone is None or device.bone == bone)


def _check_side(fields: Fields, kind: str, side: str, affected: object, protocol: Protocol) -> None:
    if affected not in _SIDES:
        return
    on_other_leg = protocol.stage(kind).lane == "other_leg"
    if on_other_leg != (side != affected):
        leg = "the other leg" if on_other_leg else "the affected leg"
        right = next(one for one in _SIDES if (one == affected) != on_other_leg)
        do = "correct the side here, or affected_side of the child, after checking the films"
        fields.wrong("side", f'"{right}", because {kind} is done on {leg}', do)


def longest_mm(kind: str | None, protocol: Protocol) -> float:
    """Return the longest plausible bone: no operation gains more than that."""
    bone = None if kind is None else protocol.stage(kind).bone
    lengths = ("femur_length_mm", "tibia_length_mm") if bone is None else (f"{bone}_length_mm",)
    longest = [rule.plausible[1] for rule in protocol.findings if rule.id in lengths and rule.plausible is not None]
    return max(longest, default=math.inf)


def _decision(fields: Fields, known: Known) -> Decision | None:
    day = day_in_life(fields, "date", known, past=False)
    by = fields.choice("by", ("family", "team"), "party", required=True)
    kind = fields.choice("kind", _KINDS, "kind of decision", required=True)
    reason = fields.text("reason", "the reason in words")
    needs = _NEEDS.get(kind or "", ())
    given = {key: _detail(fields, key, known.protocol) for key in needs}
    start, end = given.get("from"), given.get("to")
    if isinstance(start, datetime.date) and isinstance(end, datetime.date) and end < start:
        fields.wrong("to", f"a date on or after {start.isoformat()}", "correct one of the two dates")
    others = {key for keys in _NEEDS.values() for key in keys} - set(needs)
    for key in sorted(others & set(fields.table)):
        fields.take(key)
        if kind is not None:
            fields.wrong(key, f"nothing here: {kind} has no `{key}`", "remove it, or correct the kind")
    fields.done("a decision")
    dates = {f"{key}_date": given.pop(key) for key in ("from", "to") if key in given}
    return _built(fields, Decision, date=day, by=by, kind=kind, reason=reason, **given, **dates)


def _detail(fields: Fields, key: str, protocol: Protocol) -> object | None:
    if key in ("from", "to", "before"):
        return fields.day(key, required=True)
    if key == "number":
        return _whole(fields, key)
    if key == "mm":
        return _given(fields, key, HIGHEST_LIFT_MM, "mm")
    if key == "prefer":
        return fields.choice(key, PREFERENCES, "preference", required=True)
    if key == "course":
        return fields.text(key, "the id of a course")
    if key == "gate":
        return _gate(fields, protocol)
    stages = tuple(stage.id for stage in protocol.stages)
    bound = {stage.id for stage in protocol.stages if not may_be_declined(stage, protocol)}
    if fields.table.get("kind") == "decline" and fields.table.get(key) in bound:
        fields.take(key)
        fields.wrong(key, "a stage that can be declined by itself", "decline the operation that it belongs to")
        return None
    numbered = _numbered_stages(protocol)
    given = fields.table.get(key)
    options = numbered if isinstance(given, str) and given in numbered else stages
    return fields.choice(key, options, "stage", required=True)


def _whole(fields: Fields, key: str) -> int | None:
    value = _given(fields, key, MOST_LENGTHENINGS, "")
    if value is None or value.is_integer():
        return None if value is None else int(value)
    fields.wrong(key, "a whole number", "write it without a decimal point")
    return None


def _given(fields: Fields, key: str, high: float, unit: str) -> float | None:
    if fields.has(key):
        return fields.number(key, 0, high, unit)
    fields.missing(key, f"a number up to {high:g}")
    return None


def _gate(fields: Fields, protocol: Protocol) -> str | None:
    known = tuple(rule.id for rule in (*protocol.gates, *protocol.contraindications))
    gate = fields.choice("gate", known, "gate", required=True)
    if gate in {rule.id for rule in protocol.gates if not rule.waivable}:
        do = "remove this decision: the protocol does not let this gate be waived"
        fields.wrong("gate", "a gate that may be waived", do)
    return gate


def _numbered_stages(protocol: Protocol) -> frozenset[str]:
    """Return the ids of single repetitions of the stages that may be repeated: `femoral_lengthening_2`."""
    repeated = (stage for stage in protocol.stages if stage.most > 1)
    return frozenset(f"{stage.id}_{number}" for stage in repeated for number in range(1, stage.most + 1))


def _built(fields: Fields, model: type[Model], /, **values: Any) -> Model | None:
    """Return the value built, None when its table, the last one read, has complaints."""
    entries = fields.complaints.entries
    if entries and entries[-1][0][: len(fields.path)] == fields.path:
        return None
    return model(**values)
