"""Published courses and ours side by side, as Markdown: operations, ages and amounts, and why they differ."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pathway.days import age_words
from pathway.plan.model import Plan, PlanStage
from tests.outside.published.test_cases import CASES, plans


def beside() -> str:
    """Return every published course with what the planner recommends for a child entered as printed."""
    return "\n".join(_lines()) + "\n"


def _lines() -> Iterator[str]:
    yield "# Published courses and ours"
    yield ""
    yield "Written by `python -m tests.outside.published.beside`; a test holds it in step. Each child is entered"
    yield "as printed, what print leaves out as a child ready for surgery. A printed course is what one team did, not"
    yield "the truth."
    for case in CASES:
        yield from ("", f"## {case['id'].replace('_', ' ')}", "", f"Source: {case['source']}.", "")
        yield f"- Printed: {case['printed']}"
        yield f"- Printed order: {', '.join(kind.replace('_', ' ') for kind in case['done']) or 'not given'}"
        yield f"- Ours: {_ours(plans()[case['id']])}"
        yield f"- Difference: {_difference(case)}"


def _ours(plan: Plan) -> str:
    best = plan.recommended
    if best is None:
        return "no course: " + "; ".join(conflict.explanation for conflict in plan.conflicts)
    dated = [s for s in plan.stages if s.date and s.operation and s.status not in ("done", "under_way")]
    steps = "; ".join(_stage(stage) for stage in dated)
    return f"{best.summary} ({best.burden.operations} operations): {steps or 'nothing dated'}"


def _stage(stage: PlanStage) -> str:
    amount = f" {stage.amount_mm / 10:g} cm" if stage.amount_mm is not None else ""
    age = f" at {age_words(stage.age_years)}" if stage.age_years is not None else ""
    return f"{stage.label[0].lower()}{stage.label[1:]}{amount}{age}"


def _difference(case: dict[str, Any]) -> str:
    if "differs" in case:
        return str(case["differs"])
    return str(case.get("note") or "the same operations in the same order")


if __name__ == "__main__":
    from pathlib import Path

    (Path(__file__).parent / "beside.md").write_text(beside(), encoding="utf-8")
