"""One child's document for a record system: a Bundle (FHIR R4) that starts with its Composition."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping, Sequence
from html import escape
from typing import Any

from pathway.exports.fhir.codes import GOALS, PLAN_NOTE, PROBLEMS, RESULTS, Json, coding, concept
from pathway.exports.fhir.observations import observations
from pathway.exports.fhir.parts import Addresses, condition, labels, patient, program, told
from pathway.exports.fhir.plan import care_plan, goals, requests
from pathway.exports.names import HOME
from pathway.plan.model import Plan
from pathway.protocol.model import Protocol
from pathway.record import Record
from pathway.views.words import roads
from pathway.views.words.caution import is_invented


def document(plan: Plan, record: Record, protocol: Protocol, stamp: datetime.datetime, version: str) -> Json:
    """Return the document of one plan as plain data.

    `stamp` is the moment (with its zone) at which it is made, `version` that of the program. Of the child it tells
    pseudonym, sex, side and findings; no birth date, no age, no note that somebody typed.
    """
    at = Addresses(plan.child.id)
    findings = list(observations(record, plan, protocol, at))
    wanted, stages = list(goals(plan, protocol, at)), list(requests(plan, at))
    whole = care_plan(plan, at, wanted, findings)
    head = [patient(plan, at), program(version, at), condition(plan, at)]
    resources = [_composition(plan, at, stamp, findings, wanted), *head, whole, *stages, *wanted, *findings]
    return {
        "resourceType": "Bundle",
        "id": at.id("document", plan.on.isoformat()),
        "meta": {"security": labels(plan)},
        "identifier": {"system": f"{HOME}/document", "value": at.id("document", plan.on.isoformat())},
        "type": "document",
        "timestamp": stamp.isoformat(),
        "entry": [{"fullUrl": f"urn:uuid:{resource['id']}", "resource": resource} for resource in resources],
    }


def _composition(
    plan: Plan, at: Addresses, stamp: datetime.datetime, findings: Sequence[Json], wanted: Sequence[Json]
) -> Json:
    invented = " (invented child)" if is_invented(plan.child.note) else ""
    stages = [f"{stage.date or 'no day'}: {stage.label}" for stage in roads.other_stages(plan)]
    sections = [
        {"title": "Caution", "text": _narrative(told(plan))},
        _section("Diagnosis", PROBLEMS, [plan.child.diagnosis_label], [at.reference("condition")]),
        _section("Findings", RESULTS, [f"{len(findings)} findings."], _to(findings)),
        _section("Goals", GOALS, [goal["description"]["text"] for goal in wanted], _to(wanted)),
        _section("Plan", PLAN_NOTE, stages or ["No stage is planned."], [at.reference("plan")]),
    ]
    return {
        "resourceType": "Composition",
        "id": at.id("composition", plan.on.isoformat()),
        "status": "preliminary",
        "type": concept("plan of care", coding(*PLAN_NOTE)),
        "subject": at.subject,
        "date": stamp.isoformat(),
        "author": [at.reference("device")],
        "title": f"Planned treatment of {plan.child.id}{invented}, as of {plan.on}",
        "section": [section for section in sections if "entry" in section or section["title"] == "Caution"],
    }


def _section(title: str, code: tuple[str, str, str], words: Sequence[str], entries: Sequence[Json]) -> Json:
    made: Json = {"title": title, "code": concept(title, coding(*code)), "text": _narrative(words)}
    return {**made, "entry": list(entries)} if entries else made


def _to(resources: Sequence[Json]) -> list[Json]:
    return [{"reference": f"urn:uuid:{resource['id']}"} for resource in resources]


def _narrative(words: Sequence[str]) -> Json:
    lines = "".join(f"<p>{escape(text, quote=False)}</p>" for text in words)
    return {"status": "generated", "div": f'<div xmlns="http://www.w3.org/1999/xhtml">{lines}</div>'}


def loose_ends(bundle: Mapping[str, Any]) -> tuple[str, ...]:
    """Return what does not hold together in a bundle, in sentences: references to nothing, addresses used twice.

    The validating library looks at each resource by itself and sees neither.
    """
    addresses = [entry.get("fullUrl", "") for entry in bundle.get("entry", ())]
    known, faults = set(addresses), []
    faults += [f"the address {address} is used twice" for address in sorted(known) if addresses.count(address) > 1]
    for entry in bundle.get("entry", ()):
        kind = entry["resource"]["resourceType"]
        faults += [f"{kind} refers to {one}, which is not there" for one in _references(entry) if one not in known]
    return tuple(faults)


def _references(node: object) -> Iterator[str]:
    if isinstance(node, Mapping):
        if isinstance(node.get("reference"), str):
            yield node["reference"]
        for value in node.values():
            yield from _references(value)
    elif isinstance(node, list):
        for value in node:
            yield from _references(value)
