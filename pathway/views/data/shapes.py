"""What each verb prints with `--json`, as shapes: the JSON Schemas in `schema/` are made from them."""

from __future__ import annotations

import datetime
import json
from typing import Any

from pydantic import TypeAdapter

from pathway.days import Day
from pathway.plan.growth import AgePoint, MeasuredPoint
from pathway.plan.model import (
    Considered,
    Course,
    DateWindow,
    GateState,
    GrowthPart,
    Plan,
    PlanStage,
    Refusal,
    Roads,
    SourceLine,
)
from pathway.plan.programme import Programme
from pathway.questions.achieved import Achieved
from pathway.questions.corrections import Corrections
from pathway.questions.sensitivity import Turn
from pathway.questions.smallest_change import Deciding, Near, WhatIf
from pathway.record import Frozen
from pathway.results.clinic import Results
from pathway.views.data.described import described, descriptions
from pathway.views.data.shapes_of_registry import (
    ChangesPrinted,
    DuePrinted,
    HeadsPrinted,
    LinePrinted,
    OverlayPrinted,
    PagePrinted,
    RevisionPrinted,
    RulesPrinted,
)
from pathway.worksheets.sheet import Sheet

DIALECT = "https://json-schema.org/draft/2020-12/schema"


class SheetNotYet(Frozen):
    """A stage whose worksheet cannot be made yet, and what it needs, a sentence each."""

    stage: str
    needs: tuple[str, ...]


class PlanWithSheets(Plan):
    """What `plan --worksheets --json` prints."""

    worksheets: tuple[Sheet, ...]
    worksheets_not_yet: tuple[SheetNotYet, ...]


class GrowthPrinted(Frozen):
    """What `growth --json` prints."""

    growth: GrowthPart
    caution: str


class ProgrammePrinted(Frozen):
    """What `programme --json` prints; without a programme `why_none` says why."""

    programme: Programme | None
    why_none: str
    caution: str


class WhyPrinted(Frozen):
    """What `why --json` prints of a stage of the plan."""

    stage: PlanStage
    sources: tuple[SourceLine, ...]
    caution: str
    what_would_change: tuple[WhatIf, ...]
    near_thresholds: tuple[Near, ...]
    decides_most: tuple[Deciding, ...]


class WhyNotPrinted(Frozen):
    """What `why --json` prints of a kind of stage that the plan does not have."""

    stage: None
    kind: str
    refused: Refusal | None
    what_would_change: tuple[WhatIf, ...]
    near_thresholds: tuple[Near, ...]
    decides_most: tuple[Deciding, ...]
    considered: tuple[Considered, ...]
    caution: str


class CoursesPrinted(Frozen):
    """What `alternatives --json` prints; `stands` to `weighed` only with `--how-firm`."""

    child: str
    on: datetime.date
    asked: tuple[str, ...]
    stands: float | None = None
    turns: tuple[Turn, ...] | None = None
    same_first: float | None = None
    weighed: tuple[str, ...] | None = None
    recommended: str | None
    roads: Roads | None
    differences: tuple[str, ...]
    courses: tuple[Course, ...]
    caution: str


class ChildPrinted(Frozen):
    """One child of `children --json`; `problems` says why a file could not be read, `conflicts` why not planned."""

    name: str
    age_years: float | None = None
    diagnosis: str = ""
    next_stage: str | None = None
    next_label: str = ""
    when: Day | None = None
    discrepancy_at_maturity_mm: float | None = None
    problems: tuple[str, ...] = ()
    conflicts: tuple[str, ...] = ()
    close_call: bool = False


class ChildrenPrinted(Frozen):
    """What `children --json` prints."""

    on: datetime.date
    children: tuple[ChildPrinted, ...]
    caution: str


class StageOnTimeline(Frozen):
    """A stage as the timeline shows it; the verb `why` says the rest."""

    id: str
    kind: str
    label: str
    lane: str
    status: str
    date: Day | None
    end_date: Day | None
    age_years: float | None
    window: DateWindow | None
    past_usual: Day | None
    road: str
    likely: bool
    amount_mm: float | None


class TimelinePrinted(Frozen):
    """What `timeline --json` prints: the lanes, the difference as measured and by age, what is said at one age."""

    child: str
    on: datetime.date
    stages: tuple[StageOnTimeline, ...]
    roads: Roads | None
    refused: tuple[Refusal, ...]
    measured: tuple[MeasuredPoint, ...]
    by_age: tuple[AgePoint, ...]
    at_age: tuple[str, ...]
    notices: tuple[str, ...]
    conflicts: tuple[str, ...]
    caution: str


class PrerequisiteStage(Frozen):
    """A stage that comes before another, with the stages that it comes after itself."""

    id: str
    label: str
    status: str
    date: Day | None
    road: str
    window: DateWindow | None
    after: tuple[str, ...]


class PrerequisitesPrinted(Frozen):
    """What `prerequisites --json` prints: the chain of a stage in order of date, its gates, what would unlock it."""

    child: str
    on: datetime.date
    stage: str
    chain: tuple[PrerequisiteStage, ...]
    gates: tuple[GateState, ...]
    unlock: tuple[str, ...]
    caution: str


class FamilyPart(Frozen):
    """A heading of the plan in plain words with its sentences; `stage` where it speaks of one."""

    heading: str
    sentences: tuple[str, ...]
    stage: str | None


class FamilyPrinted(Frozen):
    """What `family --json` prints."""

    child: str
    on: datetime.date
    language: str
    parts: tuple[FamilyPart, ...]
    caution: str


class SaidWithRule(Frozen):
    """A statement with the id of the rule or source behind it, its mark, and how well it is known."""

    text: str
    rule: str
    mark: str
    local: bool
    known: str


class SourcesPrinted(Frozen):
    """What `sources --json` prints: each statement on a stage and the child, with the rule behind it."""

    child: str
    on: datetime.date
    stage: str | None
    statements: tuple[SaidWithRule, ...]
    caution: str


class AchievedPrinted(Frozen):
    """What `achieved --json` prints: every osteotomy of the child whose sheet was kept."""

    child: str
    on: datetime.date
    operations: tuple[Achieved, ...]
    caution: str


class CorrectionsPrinted(Frozen):
    """What `registry achieved --json` prints."""

    on: datetime.date
    corrections: Corrections
    caution: str


class ResultsPrinted(Frozen):
    """What `registry results --json` prints."""

    on: datetime.date
    results: Results
    caution: str


SHAPES: dict[str, Any] = {
    "plan": Plan | PlanWithSheets,
    "growth": GrowthPrinted,
    "programme": ProgrammePrinted,
    "why": WhyPrinted | WhyNotPrinted,
    "alternatives": CoursesPrinted,
    "worksheet": Sheet,
    "achieved": AchievedPrinted,
    "followup": ChangesPrinted,
    "compare": ChangesPrinted,
    "registry-list": tuple[LinePrinted, ...],
    "registry-due": DuePrinted,
    "registry-revisions": tuple[RevisionPrinted, ...],
    "registry-achieved": CorrectionsPrinted,
    "registry-results": ResultsPrinted,
    "registry-heads": HeadsPrinted,
    "rules-list": RulesPrinted,
    "rules-show": PagePrinted,
    "rules-overlay": OverlayPrinted,
    "children": ChildrenPrinted,
    "timeline": TimelinePrinted,
    "prerequisites": PrerequisitesPrinted,
    "family": FamilyPrinted,
    "sources": SourcesPrinted,
}
"""By verb; a hyphen stands between the group and its verb."""

SAME: dict[str, str] = {"demo": "plan"}
"""Verbs that print what another one prints."""


CASE_FILE = "case-file"
"""The schema of what is read, kept beside those of what is printed."""


def schema_text(verb: str) -> str:
    """Return the JSON Schema of what a verb prints, each property described; raises KeyError for a verb without one."""
    made = described(verb, TypeAdapter(SHAPES[verb]).json_schema(mode="serialization"), descriptions())
    made.pop("title", None)
    name = f"limb-pathway {verb.replace('-', ' ')} --json"
    head = {"$schema": DIALECT, "$id": f"urn:limb-pathway:schema:{verb}", "title": name}
    return schema_json({**head, **made})


def schema_json(schema: dict[str, Any]) -> str:
    """Return a schema as the text of its file."""
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"
