"""The JSON Schema of a case file, made from the rules: editors complete names and choices by it.

What needs the whole file (a date before birth, the side of an operation) is left to `read_case`, which has the last
word.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, get_args

from pathway.casefile.planned import FRAMES, NAMES, REQUIRED, TURN_DEG
from pathway.casefile.read import HIGHEST_LIFT_MM, MOST_LENGTHENINGS, PATTERNS, PHYSES, SCHEMA_VERSION, longest_mm
from pathway.casefile.visits import SKELETAL_AGE, SKELETAL_METHOD, SKELETAL_STAGE, skeletal_range
from pathway.plain_text import PSEUDONYM
from pathway.preferences import PREFERENCES
from pathway.protocol.model import FindingRule, Protocol
from pathway.protocol.skeletal_methods import stages_of
from pathway.protocol.units import UNITS
from pathway.record import Decision, Sex, Side, Weekday, WhyMissing

DIALECT = "https://json-schema.org/draft/2020-12/schema"
ID = f"urn:limb-pathway:schema:case-file:{SCHEMA_VERSION}"
Schema = dict[str, Any]


def case_schema(protocol: Protocol) -> Schema:
    """Return the JSON Schema (2020-12) of a case file that is read by these rules, as plain data."""
    return {
        "$schema": DIALECT,
        "$id": ID,
        "title": "Case file of limb-pathway",
        "description": f"What is known of one child, for the rules {protocol.name} {protocol.version}.",
        **_table(
            "",
            {
                "schema_version": {"const": SCHEMA_VERSION, "description": "The version of this form of case file."},
                "child": _child(protocol),
                "calendar": _calendar(),
                "visit": _list("What was found on one day; one table a day.", _visit(protocol)),
                "operation": _list("An operation or treatment that was done.", _operation(protocol)),
                "decision": _list("A decision or wish of family or team.", _decision(protocol)),
            },
            ("schema_version", "child"),
        ),
    }


def _table(description: str, properties: Mapping[str, Schema], required: Iterable[str] = ()) -> Schema:
    said = {"description": description} if description else {}
    return {
        **said,
        "type": "object",
        "properties": dict(properties),
        "required": list(required),
        "additionalProperties": False,
    }


def _list(description: str, item: Schema) -> Schema:
    return {"description": description, "type": "array", "items": item}


def _text(description: str) -> Schema:
    return {"description": description, "type": "string"}


def _day(description: str) -> Schema:
    return {"description": f"{description} Year-month-day, without quotes.", "type": "string", "format": "date"}


def _one_of(description: str, choices: Iterable[str]) -> Schema:
    return {"description": description, "type": "string", "enum": list(choices)}


def _labelled(description: str, labels: Mapping[str, str]) -> Schema:
    """Return a choice of ids, each with its label."""
    said = "; ".join(f"{id}: {label}" for id, label in labels.items())
    return _one_of(f"{description} {said}.", labels)


def _number(description: str, low: float, high: float) -> Schema:
    return {"description": description, "type": "number", "minimum": low, "maximum": high}


def _child(protocol: Protocol) -> Schema:
    pattern = f"^{PSEUDONYM.pattern.strip('^$')}$"
    return _table(
        "The child, by a pseudonym: never a name.",
        {
            "id": {**_text("A pseudonym of small letters, digits and hyphens, such as maple-03."), "pattern": pattern},
            "date_of_birth": _day("The date of birth."),
            "sex": _one_of("Which growth tables are used.", get_args(Sex)),
            "affected_side": _one_of("The shorter leg, or both.", (*get_args(Side), "both")),
            "diagnosis": _labelled("The diagnosis.", {one.id: one.label for one in protocol.diagnoses}),
            "growth_pattern": _one_of(
                "How the difference grows, where it is not as usual for the diagnosis.", PATTERNS
            ),
            "note": _text("A note for the team; never a name."),
        },
        ("id", "date_of_birth", "sex", "affected_side", "diagnosis"),
    )


def _visit(protocol: Protocol) -> Schema:
    methods = {one.id: one.label for one in protocol.methods}
    read_by = {one.id: one.label for one in protocol.skeletal_methods}
    stages = sorted(
        {
            stage
            for one in protocol.skeletal_methods
            if one.stages is not None
            for sex in get_args(Sex)
            for stage in stages_of(protocol, one, sex)
        }
    )
    return _table(
        "",
        {
            "date": _day("The day of the visit."),
            "method": _labelled("How the findings were measured, where they do not say it themselves.", methods),
            SKELETAL_AGE: _number(
                "Skeletal age in years, read from a radiograph of that day.", *skeletal_range(protocol)
            ),
            SKELETAL_METHOD: _labelled("How the skeletal age was read.", read_by),
            SKELETAL_STAGE: {
                "description": f"The stage that was read, in place of years: {', '.join(stages)}.",
                "type": ["string", "number"],
            },
            "note": _text("A note on the visit."),
            "left": _findings(protocol, "limb", "Findings of the left leg."),
            "right": _findings(protocol, "limb", "Findings of the right leg."),
            "child": _findings(protocol, "child", "Findings of the whole child."),
        },
        ("date",),
    )


def _findings(protocol: Protocol, of: str, description: str) -> Schema:
    found = (one for one in protocol.findings if one.of == of and not one.derived and one.id != SKELETAL_AGE)
    return _table(description, {one.id: _finding(one, protocol) for one in found})


def _finding(rule: FindingRule, protocol: Protocol) -> Schema:
    unit = UNITS[rule.unit].asked
    value: Schema = {"type": "boolean"}
    if rule.kind == "number" and rule.plausible is not None:
        value = {"type": "number", "minimum": rule.plausible[0], "maximum": rule.plausible[1]}
    elif rule.kind == "choice":
        value = {"type": "string", "enum": list(rule.choices)}
    measured = _table(
        "The value with its own method or note.",
        {
            "value": {"description": "The value.", **value},
            "method": _one_of("How it was measured.", (one.id for one in protocol.methods)),
            "note": _text("A note on it."),
        },
        ("value",),
    )
    missing = _table(
        "Why there is no value.",
        {
            "not_measured": _one_of("Why it was not measured.", get_args(WhyMissing)),
            "note": _text("A note on it."),
        },
        ("not_measured",),
    )
    said = f"{rule.label}{f', in {unit}' if unit else ''}. {rule.how.rstrip('.')}."
    return {"description": said, "anyOf": [value, measured, missing]}


def _operation(protocol: Protocol) -> Schema:
    return _table(
        "",
        {
            "kind": _labelled("Which operation.", {one.id: one.label for one in protocol.stages}),
            "date": _day("The day of the operation."),
            "side": _one_of("The leg that was operated on.", get_args(Side)),
            "achieved_mm": _number("The length gained, mm.", 0, longest_mm(None, protocol)),
            "achieved_deg": _number("The angle gained, degrees.", -TURN_DEG, TURN_DEG),
            "physes": _list("The growth plates that were closed.", {"type": "string", "enum": list(PHYSES)}),
            "device_removed": _day("The day on which device or cast came off."),
            "device": _labelled("The device of a lengthening.", {one.id: one.label for one in protocol.devices}),
            "complications": _list(
                "Complications, from the list of the rules.", {"type": "string", "enum": list(protocol.complications)}
            ),
            "planned": _table(
                "The sheet of an osteotomy of the upper femur as it was used.",
                {
                    "flexion_frame": _one_of("Which one flexion is meant in.", FRAMES),
                    **{name: {"description": _spoken(name), "type": "number"} for name in NAMES},
                },
                sorted(REQUIRED),
            ),
            "note": _text("A note on the operation."),
        },
        ("kind", "date", "side"),
    )


def _spoken(name: str) -> str:
    """Return the name of a number as words with its unit."""
    words, _, unit = name.rpartition("_")
    return f"{words.replace('_', ' ').capitalize()}, {UNITS[unit].asked}, as on the sheet."


def _decision(protocol: Protocol) -> Schema:
    gates = [rule.id for rule in protocol.gates if rule.waivable] + [rule.id for rule in protocol.contraindications]
    return _table(
        "",
        {
            "date": _day("The day of the decision."),
            "by": _one_of("Who decided.", ("family", "team")),
            "kind": _one_of("What was decided.", get_args(Decision.model_fields["kind"].annotation)),
            "reason": _text("The reason, in words."),
            "stage": _text("Declined: the stage, such as femoral_lengthening or femoral_lengthening_2."),
            "gate": _one_of("Waived: the gate.", gates),
            "course": _text("Chosen: the id of a course."),
            "prefer": _one_of("Preferred: what the family prefers.", PREFERENCES),
            "from": _day("The first day, of dates that are blocked or without a device."),
            "to": _day("The last day, of dates that are blocked or without a device."),
            "before": _day("The day by which treatment is to end."),
            "number": {**_number("The most lengthenings that are wished.", 0, MOST_LENGTHENINGS), "type": "integer"},
            "mm": _number("The highest lift that is wished, mm.", 0, HIGHEST_LIFT_MM),
        },
        ("date", "by", "kind"),
    )


def _calendar() -> Schema:
    span = {"from": _day("The first day."), "to": _day("The last day.")}
    return _table(
        "What holds for this child instead of the clinic's calendar.",
        {
            "operating_weekdays": _list(
                "Days on which operations may fall.", {"type": "string", "enum": list(get_args(Weekday))}
            ),
            "operations_in_school_holidays": _one_of(
                "Whether the family wishes for operations in school holidays.", ("wished", "not_wished")
            ),
            "blocked": _list(
                "Days on which nothing is operated.",
                _table("", {"reason": _text("The reason."), **span}, ("reason", "from", "to")),
            ),
            "school_holidays": _list(
                "School holidays.", _table("", {"name": _text("The name."), **span}, ("name", "from", "to"))
            ),
        },
    )
