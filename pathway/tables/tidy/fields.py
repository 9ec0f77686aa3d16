"""The columns of each table that is put out: name, type, unit, and what it holds. Tables and dictionary follow them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Kind = Literal["visits", "stages", "revisions", "outcomes", "lengthenings"]
KINDS: tuple[Kind, ...] = ("visits", "stages", "revisions", "outcomes", "lengthenings")
UNDATED: tuple[Kind, ...] = ("lengthenings",)
"""Tables that never hold a day or an id: they are made to leave the clinic."""
Type = Literal["string", "number", "integer", "boolean", "date"]


@dataclass(frozen=True, slots=True)
class Field:
    """One column. `dated`: there only where dates were asked for. `options` names what its words are taken from."""

    name: str
    type: Type
    title: str
    description: str
    unit: str = ""
    required: bool = False
    dated: bool = False
    options: str = ""
    least: float | None = None


@dataclass(frozen=True, slots=True)
class Shape:
    """A table: what one row of it is, its columns, and by which of them no two rows are alike (() where none are)."""

    title: str
    description: str
    fields: tuple[Field, ...]
    key: tuple[str, ...] = ()


_CHILD = (
    Field("child", "string", "child", "Pseudonym of the child, as the registry has it.", required=True),
    Field("sex", "string", "sex", "Sex of the child.", required=True, options="sex"),
    Field("affected_side", "string", "affected side", "Side that is treated.", required=True, options="affected_side"),
    Field("diagnosis", "string", "diagnosis", "Diagnosis, by its id in the rules.", required=True, options="diagnosis"),
    Field(
        "growth_pattern",
        "string",
        "growth pattern",
        "How the difference grows, where the case says so itself.",
        options="growth_pattern",
    ),
    Field("date_of_birth", "date", "date of birth", "Day of birth.", required=True, dated=True),
)


def _age(of: str, *, required: bool = True) -> Field:
    text = f"Age on the day of {of}: completed years and days since the birthday, to a thousandth."
    return Field("age_years", "number", "age", text, "years", required=required, least=0)


def _day(name: str, of: str) -> Field:
    return Field(name, "date", name.replace("_", " "), f"Day of {of}.", dated=True)


_SIDE = Field("side", "string", "side", "Leg; empty where it is of the whole child.", options="side")
_STAGE = Field("stage", "string", "stage", "Kind of stage, by its id in the rules.", required=True, options="stage")
_NUMBER = Field(
    "number", "integer", "number", "Which one of its kind on its side, in order of time.", required=True, least=1
)
_REVISION = Field(
    "revision",
    "integer",
    "revision",
    "Number of the accepted plan that this was taken from, within the child.",
    least=1,
)

VISITS = Shape(
    "Findings of visits",
    "One row is one finding of one side on one day, measured or known not to be; a skeletal age is one too.",
    (
        *_CHILD,
        Field("date", "date", "date", "Date of the visit.", required=True, dated=True),
        _age("the visit"),
        Field(
            "finding",
            "string",
            "finding",
            "What was measured, by its id; see `findings`.",
            required=True,
            options="finding",
        ),
        _SIDE,
        Field("value", "number", "value", "The value, where the finding is a number, in `unit`."),
        Field("category", "string", "category", "The value, where the finding is a choice or true or false."),
        Field("not_measured", "string", "not measured", "Why there is no value.", options="not_measured"),
        Field("unit", "string", "unit", "Unit of the value; empty where it has none.", options="unit"),
        Field(
            "method", "string", "method", "How it was measured; of a skeletal age, how it was read.", options="method"
        ),
        Field(
            "visit_method",
            "string",
            "method of the visit",
            "How that visit as a whole was measured.",
            options="method",
        ),
    ),
    ("child", "date", "finding", "side"),
)

STAGES = Shape(
    "Stages of treatment",
    "One row is one stage: entered in the record, or to come in the plan that was accepted last. What is to come is a"
    " draft that its surgeon decides on.",
    (
        *_CHILD,
        _STAGE,
        _NUMBER,
        _SIDE,
        Field(
            "status",
            "string",
            "status",
            "`recorded`, or how it stood in the accepted plan.",
            required=True,
            options="status",
        ),
        Field("operation", "boolean", "operation", "Whether it is an operation."),
        _REVISION,
        _day("date", "the stage"),
        _day("end_date", "the end: a device came off, or the stage is planned to end"),
        _age("the stage", required=False),
        Field("duration_months", "number", "duration", "From beginning to end.", "months", least=0),
        Field("amount_mm", "number", "amount", "Length gained, or planned to be.", "mm"),
        Field("amount_deg", "number", "amount", "Angle gained, or planned to be.", "deg"),
        Field("device", "string", "device", "Device of a lengthening; empty for the usual one.", options="device"),
        Field("physes", "string", "growth plates", "Growth plates closed, separated by spaces."),
    ),
)

REVISIONS = Shape(
    "Accepted plans",
    "One row is one plan that was accepted, with what it expected on its day. A plan is a draft that its surgeon"
    " decides on.",
    (
        *_CHILD,
        Field("revision", "integer", "revision", "Number of the plan within the child.", required=True, least=1),
        _day("date", "the plan"),
        _day("accepted_date", "the acceptance (UTC)"),
        _age("the plan"),
        Field(
            "protocol_version",
            "string",
            "version of the rules",
            "Version of the rules that it was made with.",
            required=True,
        ),
        Field("recommended", "boolean", "recommended", "Whether the recommended course was accepted.", required=True),
        Field("course", "string", "course", "Id of the course that the plan recommends."),
        Field("next_stage", "string", "next operation", "The first operation to come, by its kind.", options="stage"),
        Field("next_age_years", "number", "age at the next operation", "Planned age at it.", "years", least=0),
        Field(
            "untreated_difference_mm",
            "number",
            "difference untreated",
            "Median difference in leg length predicted at maturity without further operations.",
            "mm",
        ),
        Field(
            "expected_operations",
            "number",
            "expected operations",
            "Mean number of operations to come, as troubles are published.",
            "operations",
            least=0,
        ),
        Field("expected_device_months", "number", "expected months in a device", "Mean of them.", "months", least=0),
        Field(
            "chance_within_20_mm",
            "number",
            "chance within 20 mm",
            "Chance that the difference at maturity is within 20 mm, 0 to 1.",
            least=0,
        ),
    ),
    ("child", "revision"),
)

OUTCOMES = Shape(
    "What came of operations",
    "One row is one quantity of one operation that was done, as planned and as achieved, or one complication of it.",
    (
        *_CHILD,
        _STAGE,
        _NUMBER,
        _SIDE,
        _day("date", "the operation"),
        _age("the operation"),
        Field(
            "quantity",
            "string",
            "quantity",
            "What was planned and achieved; `complication` for one of them.",
            required=True,
        ),
        Field("unit", "string", "unit", "Unit of planned and achieved."),
        Field(
            "planned", "number", "planned", "As planned: on the sheet that was used, else in the plan accepted before."
        ),
        Field("achieved", "number", "achieved", "As achieved, by the record or the film after it."),
        Field("difference", "number", "difference", "Achieved less planned."),
        Field(
            "reading_sd", "number", "error of reading", "What reading the films alone makes of the difference, one SD."
        ),
        Field("complication", "string", "complication", "Which one, by its id in the rules.", options="complication"),
        _REVISION,
    ),
)

LENGTHENINGS = Shape(
    "Single lengthenings, to be pooled with those of other clinics",
    "One row is one lengthening that was done. There are no days and no ids, and ages are to a tenth of a year; rows of"
    " one child are not marked, but a `number` above 1 is of a child that has an earlier row.",
    (
        Field("sex", "string", "sex", "Sex of the child.", required=True, options="sex"),
        Field(
            "diagnosis", "string", "diagnosis", "Diagnosis, by its id in the rules.", required=True, options="diagnosis"
        ),
        Field("congenital", "boolean", "congenital", "Whether the bone is short from birth.", required=True),
        Field("bone", "string", "bone", "Bone that was lengthened.", required=True, options="bone"),
        Field(
            "number", "integer", "number", "Which lengthening of this bone and side, in order.", required=True, least=1
        ),
        Field("age_years", "number", "age", "Age at the operation, to a tenth.", "years", required=True, least=0),
        Field("bone_mm", "number", "bone before", "Length of the bone, as measured last before it.", "mm", least=0),
        Field("planned_mm", "number", "planned", "Gain that the plan accepted before it named.", "mm"),
        Field("achieved_mm", "number", "achieved", "Gain as entered.", "mm"),
        Field("percent", "number", "share of the bone", "Gain in percent of the bone before it.", "%"),
        Field("device", "string", "device", "Device, by its id in the rules.", required=True, options="device"),
        Field(
            "device_kind",
            "string",
            "kind of device",
            "As the published counts see it.",
            required=True,
            options="device_kind",
        ),
        Field(
            "device_months", "number", "months in the device", "From the operation to its removal.", "months", least=0
        ),
        Field(
            "hip_cover",
            "string",
            "cover of the hip",
            "Before it, above a femur: prepared where an operation had been done for it.",
            options="hip_cover",
        ),
        Field("events", "string", "events", "Complications recorded, by their ids, separated by spaces."),
        Field(
            "followed_months",
            "number",
            "months of follow-up",
            "From the operation to the last visit.",
            "months",
            least=0,
        ),
    ),
)

SHAPES: Mapping[Kind, Shape] = {
    "visits": VISITS,
    "stages": STAGES,
    "revisions": REVISIONS,
    "outcomes": OUTCOMES,
    "lengthenings": LENGTHENINGS,
}


def fields_of(kind: Kind, *, dates: bool) -> tuple[Field, ...]:
    """Return the columns of a table, with days of birth and all others only where `dates` are asked for."""
    return tuple(field for field in SHAPES[kind].fields if dates or not field.dated)
