"""What was typed at a follow-up, as events or the sentence for each field. No screen in here.

Ranges, units and rules are those of a case file: what is typed is checked like the tables of one.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from pathway.casefile import filled, read_events, visit_table
from pathway.casefile.fragments import SKELETAL_AGE, SKELETAL_METHOD
from pathway.events import Correction, Event, FollowUp, apply
from pathway.growth import growth_faults, growth_questions
from pathway.problems import Problem
from pathway.protocol.model import FindingRule, Protocol
from pathway.protocol.question import Question
from pathway.questions import record_diff
from pathway.record import Operation, Record
from tui.followup import amounts
from tui.followup.asked import Asked
from tui.followup.choices import KEEP, KEEP_NONE, Choosing
from tui.followup.options import Option, Unclear, chosen, plain_options, several

DATE, METHOD = "date", "method"
NOT_OBTAINED = plain_options(("not_measurable", "declined"))
"""What may be typed in place of any finding: it was asked for and not obtained."""
YES_NO = (Option("true", "yes"), Option("false", "no"))
WAIVE = "waive_gate"
LEAST_OF_A_WORD = 4
"""So many letters tell `not measurable` and `declined` from a value."""
ABOUT = {"decline": "stage", "prefer": "prefer", WAIVE: "gate"}
"""The decisions that are made here, and the field of each that says what it is about."""
_WHERE = {"visit": "", "operation": "operation.", "decision": "decision."}


@dataclass(frozen=True, slots=True)
class Entered:
    """What was typed as events, and the record after them, None where there is nothing new or something is wrong.

    What is wrong stands by field ("": in no field); `facts` are the events in words, finding by finding.
    """

    record: Record | None = None
    events: tuple[Event, ...] = ()
    wrong: Mapping[str, str] = field(default_factory=dict)
    facts: tuple[str, ...] = ()
    look_again: tuple[str, ...] = ()


class _Wrong(Exception):
    def __init__(self, name: str, sentence: str) -> None:
        super().__init__(sentence)
        self.name = name


def entered(question: Question, typed: Mapping[str, str], findings: Mapping[str, Asked], choosing: Choosing) -> Entered:
    """Return what became of the texts typed, by field; a field that is not in `typed` stays as offered.

    `findings` are all that can be entered, by name; `choosing` says what stages, gates and so on may be named.
    """
    wrong: dict[str, str] = {}
    day = question.on
    try:
        day = _day(typed, DATE) or question.on
    except _Wrong as error:
        wrong[error.name] = str(error)
    method = method_of(question.record, question.protocol)
    try:
        if METHOD in typed:
            method = _choice(typed, METHOD, choosing.methods) or method
    except _Wrong as error:
        wrong[error.name] = str(error)
    values: dict[str, object] = {}
    own: dict[str, str] = {}
    missing: dict[str, str] = {}
    for name in typed:
        if name in findings and (why := not_obtained(typed[name], findings[name])) is not None:
            missing[name] = why
        elif name in findings:
            try:
                values[name] = _value(typed, name, findings[name])
            except _Wrong as error:
                wrong[error.name] = str(error)
            if (again := own_method(findings[name], question.record)) is not None:
                own[name] = again
    try:
        read_by = _choice(typed, SKELETAL_METHOD, choosing.skeletal_methods)
        if values.get(SKELETAL_AGE) is not None:
            read_by = read_by or skeletal_method_of(question.record)
        if read_by is not None:
            values[SKELETAL_METHOD] = read_by
    except _Wrong as error:
        wrong[error.name] = str(error)
    tables: dict[str, list[dict[str, object]]] = {}
    if values or missing:
        tables["visit"] = [visit_table(day, method, values, own, missing)]
    for kind, make in (("operation", _operation), ("decision", _decision)):
        try:
            table = make(question.record, typed, choosing, question.protocol, day)
        except _Wrong as error:
            wrong[error.name] = str(error)
            continue
        if table:
            tables[kind] = [table]
    if wrong or not tables:
        return Entered(wrong=wrong)
    read = read_events(tables, question.record.child, "what was entered", question.protocol, question.on)
    if not isinstance(read, FollowUp):
        return Entered(wrong={_field(fault): sentence(fault) for fault in reversed(read)})
    before = choosing.completed.get(_choice(typed, "operation.kind", choosing.operations) or "")
    return _checked(question.record, tuple(_completing(read.events, before)), day, question.protocol)


def _completing(events: tuple[Event, ...], before: Operation | None) -> Iterator[Event]:
    """Yield the events, an operation as the correction of the one before where it completes that."""
    for event in events:
        yield Correction(before, event) if isinstance(event, Operation) and before is not None else event


def _checked(record: Record, events: tuple[Event, ...], day: datetime.date, protocol: Protocol) -> Entered:
    new = apply(record, events)
    faults = growth_faults(new, protocol)
    if faults:
        return Entered(wrong={_field_of_length(fault, day): sentence(fault) for fault in reversed(faults)})
    each = record_diff.entered(events, record)
    if not each:
        return Entered()
    known = growth_questions(record, protocol)
    again = tuple(question for question in growth_questions(new, protocol) if question not in known)
    facts = tuple(record_diff.event_words(event, record, protocol) for event in each)
    return Entered(new, events, {}, facts, again)


def method_of(record: Record, protocol: Protocol) -> str:
    """Return how a visit is measured where nothing else is said: as the last one was."""
    return record.visits[-1].method if record.visits and record.visits[-1].method else protocol.methods[0].id


def skeletal_method_of(record: Record) -> str | None:
    """Return how a skeletal age is read where nothing else is said: as the last one was, None where that is unknown."""
    read = [visit.skeletal_age_method for visit in record.visits if visit.skeletal_age_years is not None]
    return read[-1] if read else None


def own_method(asked: Asked, record: Record) -> str | None:
    """Return the method of a finding that is not measured by that of its visit: the one of the last time."""
    if asked.last is None or asked.name == SKELETAL_AGE:
        return None
    of_visit = next((visit.method for visit in record.visits if visit.date == asked.last.measured_on), None)
    return asked.last.method if asked.last.method not in (of_visit, "computed") else None


def not_obtained(text: str, asked: Asked) -> str | None:
    """Return why a finding was not obtained where the text says so, else None; the skeletal age has no such words."""
    if asked.name == SKELETAL_AGE or len(text.strip()) < LEAST_OF_A_WORD:
        return None
    try:
        return chosen(text, NOT_OBTAINED).value
    except Unclear:
        return None


def sentence(fault: Problem) -> str:
    """Return a complaint without its place: the field that it stands under says where."""
    return f"found {fault.found}, expected {fault.expected}; {fault.remedy}"


def told(facts: tuple[str, ...]) -> str:
    """Return one sentence for everything entered together."""
    named = facts[0] if len(facts) == 1 else f"{facts[0]}, and {len(facts) - 1} more"
    return f"Follow-up entered: {named}"


def _field(fault: Problem) -> str:
    """Return the field that a fault of the fragment belongs to."""
    head, _, rest = fault.key.partition(".")
    kind = head.partition("[")[0]
    return f"{_WHERE.get(kind, '')}{rest.partition('[')[0].removesuffix('.value')}"


def _field_of_length(fault: Problem, day: datetime.date) -> str:
    finding, _, side = fault.key.partition(" ")
    return f"{side}.{finding}" if fault.place == f"visit of {day}" else ""


def _day(typed: Mapping[str, str], name: str) -> datetime.date | None:
    text = typed.get(name, "").strip()
    if not text:
        return None
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise _Wrong(name, f'found "{text}", expected a date such as 2031-09-01; type it in full') from None


def _number(typed: Mapping[str, str], name: str, what: str = "a number") -> float | None:
    text = typed.get(name, "").strip()
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        do = "write the decimal point as a point" if "," in text else "type digits only"
        raise _Wrong(name, f'found "{text}", expected {what}; {do}') from None


def _choice(typed: Mapping[str, str], name: str, options: tuple[Option, ...]) -> str | None:
    text = typed.get(name, "").strip()
    if not text:
        return None
    try:
        return chosen(text, options).value
    except Unclear as error:
        raise _Wrong(name, str(error)) from None


def _several(typed: Mapping[str, str], name: str, options: tuple[Option, ...]) -> tuple[str, ...]:
    try:
        return several(typed.get(name, ""), options)
    except Unclear as error:
        raise _Wrong(name, str(error)) from None


def finding_options(rule: FindingRule) -> tuple[Option, ...]:
    """Return the choices of a finding; none for a number."""
    return YES_NO if rule.kind == "flag" else plain_options(rule.choices)


def expected_of(asked: Asked) -> amounts.Expected:
    """Return what a length typed for a finding is held against: its plausible range, and its last value."""
    last = asked.last.value if asked.last is not None else None
    about = last if isinstance(last, float) and last > 0 else None
    return amounts.Expected(asked.rule.plausible, about)


def understood(text: str, asked: Asked) -> amounts.Amount | None:
    """Return what a number typed for a finding means, None for a text that is none; raises Unclear.

    A length may be typed in cm, the skeletal age in years and months.
    """
    if not text.strip() or asked.rule.kind != "number":
        return None
    if asked.name == SKELETAL_AGE:
        return amounts.years(text)
    return amounts.length_mm(text, expected_of(asked)) if asked.rule.unit == "mm" else None


def _value(typed: Mapping[str, str], name: str, asked: Asked) -> object:
    rule = asked.rule
    if rule.kind == "number":
        try:
            amount = understood(typed[name], asked)
        except Unclear as error:
            raise _Wrong(name, str(error)) from None
        if amount is not None:
            return amount.value
        low, high = rule.plausible or (0.0, 0.0)
        return _number(typed, name, f"a number from {low:g} to {high:g} {rule.unit}".rstrip())
    value = _choice(typed, name, finding_options(rule))
    return value == "true" if rule.kind == "flag" and value is not None else value


def expected_gain(kind: str | None, choosing: Choosing, protocol: Protocol) -> amounts.Expected:
    """Return what a length gained is held against: what the plan has, else the least that is worth an operation."""
    return amounts.Expected(None, choosing.amounts.get(kind or ""), protocol.number("least_lengthening_mm"))


def _gained(typed: Mapping[str, str], expected: amounts.Expected) -> float | None:
    name = "operation.achieved_mm"
    try:
        amount = amounts.length_mm(typed.get(name, ""), expected)
    except Unclear as error:
        raise _Wrong(name, str(error)) from None
    return amount.value if amount is not None else _number(typed, name)


def _operation(
    record: Record, typed: Mapping[str, str], choosing: Choosing, protocol: Protocol, day: datetime.date
) -> dict[str, object]:
    named = _choice(typed, "operation.kind", choosing.operations)
    given = [name for name in typed if name.startswith("operation.")]
    if named is None:
        if given:
            raise _Wrong(
                "operation.kind", "found none, expected which operation was done; choose it, or clear the rest"
            )
        return {}
    before = choosing.completed.get(named)
    kind = before.kind if before is not None else named
    fields = before.model_dump(exclude={"note", "planned"}) if before is not None else {}
    if before is not None and before.planned is not None:
        fields["planned"] = filled(before.planned.model_dump())
    side = before.side if before is not None else side_of(kind, record, protocol)
    done_on = before.date if before is not None else _day(typed, "operation.date") or day
    changes: dict[str, object] = {
        "date": done_on,
        "side": _choice(typed, "operation.side", choosing.sides) or side,
        "achieved_mm": _gained(typed, expected_gain(kind, choosing, protocol)),
        "achieved_deg": _number(typed, "operation.achieved_deg"),
        "physes": _several(typed, "operation.physes", choosing.physes) or None,
        "device_removed": _day(typed, "operation.device_removed"),
        "device": _choice(typed, "operation.device", choosing.devices),
        "complications": _several(typed, "operation.complications", choosing.complications) or None,
    }
    if before is not None and isinstance(more := changes["complications"], tuple):
        changes["complications"] = tuple(dict.fromkeys((*before.complications, *more)))
    if choosing.planned is not None and keeps_sheet(kind, before, choosing, protocol):
        usual = KEEP if choosing.planned.fits(kind, done_on) else KEEP_NONE
        if (_choice(typed, "operation.planned", choosing.sheets) or usual) == KEEP:
            changes["planned"] = filled(choosing.planned.sheet.model_dump())
    fields = {"kind": kind, **fields, **{key: value for key, value in changes.items() if value is not None}}
    note = {"note": before.note} if before is not None and before.note else {}
    return filled({**fields, **note})


def operation_day(typed: Mapping[str, str], on: datetime.date) -> datetime.date | None:
    """Return the day of an operation as typed, that of the visit where it has none; None where it is no day yet."""
    try:
        return _day(typed, "operation.date") or _day(typed, DATE) or on
    except _Wrong:
        return None


def keeps_sheet(kind: str, before: Operation | None, choosing: Choosing, protocol: Protocol) -> bool:
    """Return whether an operation takes the sheet that stands on its screen: an osteotomy that has none yet."""
    corrects = protocol.stage(kind).role == "neck_shaft_correction"
    return corrects and choosing.planned is not None and (before is None or before.planned is None)


def _decision(
    record: Record, typed: Mapping[str, str], choosing: Choosing, protocol: Protocol, day: datetime.date
) -> dict[str, object]:
    kind = _choice(typed, "decision.kind", choosing.decisions)
    if kind is None:
        if any(name.startswith("decision.") for name in typed):
            raise _Wrong("decision.kind", "found none, expected which decision it was; choose it, or clear the rest")
        return {}
    about = _choice(typed, "decision.about", choosing.about.get(kind, ()))
    if about is None:
        raise _Wrong("decision.about", "found nothing, expected what the decision is about; choose it")
    reason = typed.get("decision.reason", "").strip()
    if not reason:
        raise _Wrong("decision.reason", "found nothing, expected the reason in words; it is kept with the decision")
    by = _choice(typed, "decision.by", choosing.parties) or decides(kind, choosing.decider)
    return filled({"date": day, "by": by, "kind": kind, ABOUT[kind]: about, "reason": reason})


def side_of(kind: str, record: Record, protocol: Protocol) -> str:
    """Return the side that an operation is done on where nothing is said."""
    return record.other_side if protocol.stage(kind).lane == "other_leg" else record.affected_side


def decides(kind: str, last: str) -> str:
    """Return who makes a decision of a kind where nothing is said: who decided last, never silently the family.

    A gate is waived by the team.
    """
    return "team" if kind == WAIVE else last or "team"


def open_fields(typed: Mapping[str, str]) -> Iterator[str]:
    """Yield the fields with something typed in them, in the order typed."""
    yield from (name for name, text in typed.items() if text.strip())
