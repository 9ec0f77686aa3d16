"""What was typed of a new child, as its record or the sentence for each field. No screen in here.

What is typed is checked like a case file: its child first, then the lengths of its first visit.
"""

from __future__ import annotations

import datetime
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace

from pathway.casefile import read_child, read_events, visit_table
from pathway.events import FollowUp, apply
from pathway.growth import growth_faults, growth_questions
from pathway.problems import Problem
from pathway.protocol.model import Protocol
from pathway.record import Child, Record
from tui.followup.entered import sentence
from tui.followup.options import Option, Unclear, chosen, plain_options

ID, BORN, SEX, SIDE, DIAGNOSIS, NOTE = "id", "date_of_birth", "sex", "affected_side", "diagnosis", "note"
NEEDED = (ID, SEX, BORN, DIAGNOSIS, SIDE)
DATE, METHOD = "visit.date", "visit.method"
SEXES = plain_options(("girl", "boy"))
SIDES = plain_options(("left", "right", "both"))
LENGTHS = tuple(f"{side}.{bone}_length_mm" for bone in ("femur", "tibia") for side in ("left", "right"))
TAKEN = "an id that no child here has; open that child, or give this one another id"
WORDS = {ID: "an id of your own for the child, such as maple-03; no name"}


@dataclass(frozen=True, slots=True)
class Newcomer:
    """What was typed so far: the record, None while something is missing or wrong, and what is `wrong` by field.

    `missing` are the fields that a child needs and that nothing was typed in yet: that is no fault. `look_again` are
    lengths that are unlikely, as questions.
    """

    record: Record | None = None
    wrong: Mapping[str, str] = field(default_factory=dict)
    missing: tuple[str, ...] = NEEDED
    look_again: tuple[str, ...] = ()


def diagnoses(protocol: Protocol) -> tuple[Option, ...]:
    """Return the diagnoses by name."""
    return tuple(Option(one.id, one.label) for one in protocol.diagnoses)


def methods(protocol: Protocol) -> tuple[Option, ...]:
    """Return the ways of measuring a length by name."""
    return tuple(Option(one.id, one.label) for one in protocol.methods if one.length_sd_mm is not None)


def entered(typed: Mapping[str, str], protocol: Protocol, on: datetime.date, known: Collection[str]) -> Newcomer:
    """Return what became of the texts typed, by field; `known` are the ids that cannot be taken any more."""
    wrong: dict[str, str] = {}
    card: dict[str, object] = {name: typed[name].strip() for name in (ID, NOTE) if typed.get(name, "").strip()}
    for name, options in ((SEX, SEXES), (SIDE, SIDES), (DIAGNOSIS, diagnoses(protocol))):
        _take(typed, name, options, card, wrong)
    if typed.get(BORN, "").strip():
        _take_day(typed, BORN, card, wrong)
    if card.get(ID) in known:
        wrong[ID] = f'found "{card[ID]}", expected {TAKEN}'
    missing = tuple(name for name in NEEDED if name not in card and name not in wrong)
    child = read_child(_filled(card, on), "the new child", protocol, on)
    if not isinstance(child, Child):
        told = {fault.key: _said(fault) for fault in (_of_field(fault) for fault in child)}
        wrong = {**{name: words for name, words in told.items() if name in card}, **wrong}
    record = None
    if isinstance(child, Child) and BORN in card:
        record = _with_lengths(typed, child, protocol, on, wrong)
    if record is None or wrong or missing:
        return Newcomer(None, wrong, missing)
    return Newcomer(record, wrong, missing, growth_questions(record, protocol))


def _of_field(fault: Problem) -> Problem:
    """Return a fault of the card of a child by the name of its field on the form."""
    return replace(fault, key=fault.key.removeprefix("child."))


def _filled(card: Mapping[str, object], on: datetime.date) -> dict[str, object]:
    """Return the card with what is still missing filled in, so that what is there can be checked."""
    empty = {ID: "x", BORN: on, SEX: "girl", SIDE: "left"}
    return {**empty, DIAGNOSIS: card.get(DIAGNOSIS, ""), **card}


def _with_lengths(
    typed: Mapping[str, str], child: Child, protocol: Protocol, on: datetime.date, wrong: dict[str, str]
) -> Record | None:
    """Return the child's record with the lengths of its first visit; what is wrong with those is added to `wrong`."""
    record = Record(child=child)
    values: dict[str, object] = {}
    for name in LENGTHS:
        if typed.get(name, "").strip():
            try:
                values[name] = float(typed[name])
            except ValueError:
                wrong[name] = f'found "{typed[name]}", expected a length in mm; type digits only'
    visit: dict[str, object] = {}
    if typed.get(DATE, "").strip():
        _take_day(typed, DATE, visit, wrong)
    _take(typed, METHOD, methods(protocol), visit, wrong)
    if wrong or not values:
        return None if wrong else record
    day = visit.get(DATE, on)
    assert isinstance(day, datetime.date)
    table = visit_table(day, str(visit.get(METHOD, methods(protocol)[0].value)), values)
    read = read_events({"visit": [table]}, child, "the first visit", protocol, on)
    if not isinstance(read, FollowUp):
        wrong |= {_field(fault): sentence(fault) for fault in reversed(read)}
        return None
    after = apply(record, read.events)
    wrong |= {_field_of_length(fault): sentence(fault) for fault in reversed(growth_faults(after, protocol))}
    return after


def _take(
    typed: Mapping[str, str], name: str, options: tuple[Option, ...], into: dict[str, object], wrong: dict[str, str]
) -> None:
    text = typed.get(name, "").strip()
    if text:
        try:
            into[name] = chosen(text, options).value
        except Unclear as error:
            wrong[name] = str(error)


def _take_day(typed: Mapping[str, str], name: str, into: dict[str, object], wrong: dict[str, str]) -> None:
    text = typed[name].strip()
    try:
        into[name] = datetime.date.fromisoformat(text)
    except ValueError:
        wrong[name] = f'found "{text}", expected a date such as 2019-05-31; type it in full'


def _said(fault: Problem) -> str:
    if fault.key == ID:
        return f"found {fault.found}, expected {WORDS[ID]}: small letters a to z, digits and hyphens"
    return sentence(fault)


def _field(fault: Problem) -> str:
    """Return the field of a fault of the visit; its date and method have names of their own here."""
    rest = fault.key.partition(".")[2].partition("[")[0].removesuffix(".value")
    return {"date": DATE, "method": METHOD}.get(rest, rest)


def _field_of_length(fault: Problem) -> str:
    finding, _, side = fault.key.partition(" ")
    return f"{side}.{finding}"
