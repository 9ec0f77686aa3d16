"""The dictionary of a table: a Table Schema (of the open standard Data Package), made from columns and rules."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, get_args

from pathway.protocol.device import DeviceKind
from pathway.protocol.model import Bone, FindingRule, Protocol
from pathway.protocol.units import UNITS, FindingUnit
from pathway.record import Sex, WhyMissing
from pathway.risk.steps import HipCover
from pathway.tables.tidy.fields import SHAPES, UNDATED, Field, Kind, fields_of

PROFILE = "https://datapackage.org/profiles/2.0/tableschema.json"
NO_IDS = (
    "Free text is left out. Age, sex, diagnosis and treatment together can still tell a child apart: hand the table on "
    "as health data."
)
NO_NAMES = (
    "Ids are the pseudonyms of the registry; free text is left out. Ages together with sex and diagnosis can still tell"
    " a child apart: hand the table on as health data."
)


def dictionary(kind: Kind, protocol: Protocol, *, dates: bool, caution: str) -> dict[str, Any]:
    """Return the Table Schema of a table: fields with type, unit, words that may stand there, and their sources."""
    shape = SHAPES[kind]
    fields = fields_of(kind, dates=dates)
    names = {field.name for field in fields}
    made: dict[str, Any] = {
        "$schema": PROFILE,
        "title": shape.title,
        "description": f"{shape.description} {NO_IDS if kind in UNDATED else NO_NAMES} {caution}.",
        "rules": {"name": protocol.name, "version": protocol.version},
        "fields": [_field(field, protocol) for field in fields],
        "missingValues": [""],
    }
    if shape.key and set(shape.key) <= names:
        made["uniqueKeys"] = [list(shape.key)]
    if kind == "visits":
        known = [rule for rule in protocol.findings if not rule.derived or rule.id == "skeletal_age_years"]
        made["findings"] = [_finding(rule) for rule in known]
        made["sources"] = _sources(known, protocol)
    return made


def _field(field: Field, protocol: Protocol) -> dict[str, Any]:
    words = _options(field.options, protocol)
    limits: dict[str, Any] = {"required": True} if field.required else {}
    if words:
        limits["enum"] = list(words)
    if field.least is not None:
        limits["minimum"] = field.least
    made: dict[str, Any] = {
        "name": field.name,
        "type": field.type,
        "title": field.title,
        "description": field.description,
    }
    if field.type == "date":
        made["format"] = "%Y-%m-%d"
    if field.type == "boolean":
        made |= {"trueValues": ["true"], "falseValues": ["false"]}
    if field.unit:
        made["unit"] = field.unit
        if field.unit in UNITS:
            made["unitCode"] = UNITS[field.unit].code
    if limits:
        made["constraints"] = limits
    if labels := [{"value": word, "label": label} for word, label in words.items() if label != word]:
        made["categories"] = labels
    return made


def _options(name: str, protocol: Protocol) -> Mapping[str, str]:
    """Return the words that may stand in a column, with their labels; none where any may."""
    labelled: Mapping[str, Iterable[Any]] = {
        "diagnosis": protocol.diagnoses,
        "stage": protocol.stages,
        "device": protocol.devices,
        "method": (*protocol.methods, *protocol.skeletal_methods),
        "finding": [rule for rule in protocol.findings if not rule.derived or rule.id == "skeletal_age_years"],
    }
    plain: Mapping[str, Iterable[str]] = {
        "sex": get_args(Sex),
        "affected_side": ("left", "right", "both"),
        "side": ("left", "right"),
        "growth_pattern": ("congenital", "developmental"),
        "not_measured": get_args(WhyMissing),
        "unit": tuple(unit for unit in get_args(FindingUnit) if unit),
        "status": ("recorded", "ready", "later", "blocked", "optional"),
        "complication": protocol.complications,
        "bone": get_args(Bone),
        "device_kind": get_args(DeviceKind),
        "hip_cover": get_args(HipCover),
    }
    if name in labelled:
        return {one.id: one.label for one in labelled[name]}
    return {word: word for word in plain.get(name, ())}


def _finding(rule: FindingRule) -> dict[str, Any]:
    """Return what a finding is, as the rules say: its range is for `value`, its choices for `category`."""
    made: dict[str, Any] = {
        "id": rule.id,
        "label": rule.label,
        "type": {"number": "number", "choice": "string", "flag": "boolean"}[rule.kind],
        "of": rule.of,
        "how": rule.how,
        "provenance": rule.provenance,
        "sources": list(rule.sources),
    }
    if rule.unit:
        made |= {"unit": rule.unit, "unitCode": UNITS[rule.unit].code}
    if rule.kind == "number":
        made |= {"plausible": list(rule.plausible or ()), "sd": rule.sd}
    if rule.choices:
        made["choices"] = list(rule.choices)
    if rule.valid_months is not None:
        made["valid_months"] = rule.valid_months
    return made


def _sources(rules: Iterable[FindingRule], protocol: Protocol) -> list[dict[str, str]]:
    cited = {source for rule in rules for source in rule.sources}
    made = []
    for source in protocol.sources:
        if source.id in cited:
            at = {"path": source.found_at} if source.found_at else {}
            made.append({"id": source.id, "title": source.citation, **at})
    return made
