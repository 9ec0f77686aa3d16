"""Exports of the example children, made once a run, and readers of them that nobody here wrote."""

from __future__ import annotations

import datetime
import json
from collections.abc import Collection, Mapping
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import vobject

from pathway.exports.calendar.agenda import Clinic, Entry, agenda
from pathway.exports.calendar.ics import Earlier, calendar_bytes
from pathway.exports.calendar.turning import turning_agenda
from pathway.exports.fhir.bundle import document
from pathway.exports.fhir.checked import checked
from pathway.exports.fhir.read import read_lengths
from pathway.exports.names import lasting_id
from pathway.plan.model import Plan
from pathway.problems import Problem
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Record, Visit
from pathway.rule_engine.facts import facts_on
from pathway.timing.calendar import calendar_of
from pathway.views.words.wording import wording
from pathway.worksheets.lengthening.worksheet import worked
from tests.examples import ON, example, example_plan
from tests.worksheets.cases import case

STAMP = datetime.datetime(2026, 11, 25, 8, 0, tzinfo=datetime.UTC)
SCHEMA = json.loads((Path(__file__).parent / "fhir" / "r4_schema.json").read_text(encoding="utf-8"))
R4 = jsonschema.Draft6Validator(SCHEMA)
"""The standard's own JSON Schema of R4, cut to the resources that we write."""


@cache
def rules() -> Protocol:
    return load_protocol()


def clinic_of(record: Record, protocol: Protocol, language: str = "en") -> Clinic:
    return Clinic(protocol, calendar_of(record, protocol), wording(language))


def entries_of(plan: Plan, record: Record, language: str = "en", protocol: Protocol | None = None) -> tuple[Entry, ...]:
    known = protocol or rules()
    facts = facts_on(Question(record.until(plan.on), known, plan.on), None)
    return agenda(plan, facts, clinic_of(record, known, language))


@cache
def entries(name: str, language: str = "en") -> tuple[Entry, ...]:
    return entries_of(example_plan(name), example(name), language)


def turning(name: str, stage: str, language: str = "en", protocol: Protocol | None = None) -> tuple[Entry, ...]:
    plan, clinic = example_plan(name), clinic_of(example(name), protocol or rules(), language)
    return turning_agenda(plan, plan.stage(stage), worked(case("lengthening", name, stage), {}), clinic)


def file_of(
    made: tuple[Entry, ...],
    on: datetime.date = ON,
    previous: Mapping[str, Earlier] | None = None,
    child: str = "rowan-02",
    stamp: datetime.datetime = STAMP,
    language: str = "en",
) -> bytes:
    return calendar_bytes(child, made, on, stamp, "A caution.", wording(language), previous)


def events(data: bytes) -> dict[str, Any]:
    """Return the events of a file by UID, as another parser reads them."""
    return {event.uid.value: event for event in vobject.readOne(data.decode("utf-8")).vevent_list}


def uid(child: str, key: str) -> str:
    return f"{lasting_id(child, key)}@limb-pathway.invalid"


@cache
def bundle(name: str) -> dict[str, Any]:
    """Return the document of an example child as it is written, read back as plain JSON."""
    made = document(example_plan(name), example(name), rules(), STAMP, "0.1.0")
    return json.loads(checked(made))  # type: ignore[no-any-return]


def resources(found: Mapping[str, Any], kind: str) -> list[dict[str, Any]]:
    return [e["resource"] for e in found["entry"] if e["resource"]["resourceType"] == kind]


def read_observations(
    made: object, name: str = "bundle", methods: Collection[str] = (), unsaid_method: str = ""
) -> tuple[Visit, ...] | tuple[Problem, ...]:
    """Return the visits of a bundle, or every fault where there is one."""
    reading = read_lengths(made, name, methods, unsaid_method)
    return reading.faults or reading.visits
