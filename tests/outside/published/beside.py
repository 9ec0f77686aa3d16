"""Published courses and ours side by side, as Markdown: operations, ages and amounts, and why they differ."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pathway.days import age_words
from pathway.plan.model import Plan, PlanStage
from tests.outside.published.replays import COURSES, ages_of, departing, departures, plan_of
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
    for course in COURSES:
        yield from ("", f"## {course['id'].replace('_', ' ')}", "", f"Source: {course['source']}.", "")
        yield f"- Printed: {course['printed']}"
        yield f"- Expected: {'; '.join(_expected(course['expected']))}"
        yield f"- Ours: {'; '.join(_both_roads(plan_of(course['id'])))}"
        yield f"- Difference: {_why(course)}"


def _expected(expected: dict[str, Any]) -> Iterator[str]:
    for kind, value in expected.items():
        if kind in ("ages", "amounts"):
            unit = "y" if kind == "ages" else "mm"
            yield ", ".join(
                f"{_words(item['stage'])} {_span(item['years' if unit == 'y' else 'mm'])} {unit}" for item in value
            )
        elif isinstance(value, dict):
            yield f"{kind} {', '.join(value.values())}"
        elif isinstance(value, list):
            yield f"{kind} {', '.join(_words(str(item)) for item in value)}"
        else:
            yield f"{kind} {_words(str(value))}"


def _both_roads(plan: Plan) -> Iterator[str]:
    yield f"road {_words(plan.roads.stands) if plan.roads else 'lengthening, no other offered'}"
    yield from (_stage(s) for s in plan.stages if s.date and s.operation and s.status not in ("done", "under_way"))
    for one in plan.stages:
        if one.date is None and one.window is not None and (span := ages_of(plan, one.id)):
            last = "any age" if span[1] == float("inf") else age_words(span[1])
            yield f"{one.label[0].lower()}{one.label[1:]} from {age_words(span[0])} to {last}"
    if plan.refused:
        yield f"not planned: {', '.join(_words(item.stage) for item in plan.refused)}"


def _why(course: dict[str, Any]) -> str:
    if "differs" not in course:
        return "none"
    found = "; ".join(said for kind in departing(course) for said in departures(course, kind))
    return f"{_words(found)}. {course['differs']} ({course['reason']})"


def _words(name: str) -> str:
    return name.replace("_", " ")


def _span(value: Any) -> str:
    return " to ".join(f"{item:g}" for item in value) if isinstance(value, list) else f"{value:g}"


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
