"""What each verb prints with `--json`, as shapes: the JSON Schemas in `pathway/output/schema` are made from them."""

from __future__ import annotations

import datetime
import json
from typing import Any

from pydantic import TypeAdapter

from pathway.output.shapes_kept import (
    ChangesPrinted,
    DuePrinted,
    HeadsPrinted,
    LinePrinted,
    OverlayPrinted,
    PagePrinted,
    RevisionPrinted,
    RulesPrinted,
)
from pathway.plan_model import Considered, Course, GrowthPart, Plan, PlanStage, SourceLine
from pathway.record import Frozen
from pathway.robustness import Turn
from pathway.what_would_change import Deciding, Near, WhatIf
from pathway.worksheets.sheet import Sheet

DIALECT = "https://json-schema.org/draft/2020-12/schema"


class PlanWithSheets(Plan):
    """What `plan --worksheets --json` prints."""

    worksheets: tuple[Sheet, ...]


class GrowthPrinted(Frozen):
    """What `growth --json` prints."""

    growth: GrowthPart
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
    what_would_change: tuple[WhatIf, ...]
    near_thresholds: tuple[Near, ...]
    decides_most: tuple[Deciding, ...]
    considered: tuple[Considered, ...]
    caution: str


class CoursesPrinted(Frozen):
    """What `alternatives --json` prints; `stands` and `turns` only with `--how-firm`."""

    child: str
    on: datetime.date
    asked: tuple[str, ...]
    stands: float | None = None
    turns: tuple[Turn, ...] | None = None
    recommended: str | None
    differences: tuple[str, ...]
    courses: tuple[Course, ...]
    caution: str


SHAPES: dict[str, Any] = {
    "plan": Plan | PlanWithSheets,
    "growth": GrowthPrinted,
    "why": WhyPrinted | WhyNotPrinted,
    "alternatives": CoursesPrinted,
    "worksheet": Sheet,
    "followup": ChangesPrinted,
    "compare": ChangesPrinted,
    "registry-list": tuple[LinePrinted, ...],
    "registry-due": DuePrinted,
    "registry-revisions": tuple[RevisionPrinted, ...],
    "registry-heads": HeadsPrinted,
    "rules-list": RulesPrinted,
    "rules-show": PagePrinted,
    "rules-overlay": OverlayPrinted,
}
"""By verb; a hyphen stands between the group and its verb."""

SAME: dict[str, str] = {"demo": "plan"}
"""Verbs that print what another one prints."""


def schema_text(verb: str) -> str:
    """Return the JSON Schema of what a verb prints; raises KeyError for a verb without one."""
    made = TypeAdapter(SHAPES[verb]).json_schema(mode="serialization")
    made.pop("title", None)
    head = {"$schema": DIALECT, "title": f"limb-pathway {verb.replace('-', ' ')} --json"}
    return json.dumps({**head, **made}, indent=2, ensure_ascii=False) + "\n"
