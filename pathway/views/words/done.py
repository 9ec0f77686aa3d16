"""What was entered of an operation that was done: length achieved beside that planned, device off, complications."""

from __future__ import annotations

import datetime
from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any

from pathway.plan.model import Plan, PlanStage
from pathway.protocol.words import lower_first
from pathway.views.pictures.curve import cm

PASSED = "PASSED "


def length_words(stage: PlanStage, planned_mm: float | None = None) -> str:
    """Return the length achieved, beside the one planned where that is known: `2.8 of 4.0 cm planned`.

    `planned_mm` is the amount of another plan, made before the operation, where the stage itself knows none.
    """
    one = stage.recorded
    if one is None or one.achieved_mm is None:
        return ""
    planned = one.planned_mm if one.planned_mm is not None else planned_mm
    if planned is None or cm(planned) == cm(one.achieved_mm):
        return cm(one.achieved_mm)
    return f"{cm(one.achieved_mm).removesuffix(' cm')} of {cm(planned)} planned"


def done_lines(stage: PlanStage) -> Iterator[str]:
    """Yield what was entered of a stage, a sentence each; nothing of one that is still to be done."""
    one = stage.recorded
    if one is None:
        return
    if length := length_words(stage):
        yield f"Achieved: {length}"
    if one.device_off is not None:
        yield f"Device off: {one.device_off}"
    if one.complications:
        yield f"Complications: {complication_words(one.complications)}"


def unrecorded(accepted: Mapping[str, Any], plan: Plan) -> str:
    """Return which operations of an accepted plan, as it was kept, had their day and are not entered as done; or ""."""
    begun = {stage.id for stage in plan.stages if stage.begun}
    told = [
        f"{stage['label'] if not place else lower_first(stage['label'])} for {stage['date']}"
        for place, stage in enumerate(_passed(accepted.get("stages", ()), plan.on, begun))
    ]
    return f"Accepted: {', '.join(told)}: not recorded as done." if told else ""


def _passed(
    stages: Iterable[Mapping[str, Any]], on: datetime.date, begun: Collection[str]
) -> Iterator[Mapping[str, Any]]:
    for stage in stages:
        day = stage.get("date")
        if stage.get("operation") and day and stage["id"] not in begun and datetime.date.fromisoformat(str(day)) < on:
            yield stage


def complication_words(complications: tuple[str, ...]) -> str:
    """Return complications as they are called."""
    return ", ".join(name.replace("_", " ") for name in complications)


def in_short(stage: PlanStage, planned_mm: float | None = None) -> str:
    """Return the same in one breath, "" where nothing was entered beside that it was done."""
    one = stage.recorded
    if one is None:
        return ""
    off = f"device off {one.device_off}" if one.device_off is not None else ""
    trouble = f"with {complication_words(one.complications)}" if one.complications else ""
    return ", ".join(part for part in (length_words(stage, planned_mm), off, trouble) if part)


def operations_done(plan: Plan) -> tuple[str, ...]:
    """Return each operation that was done of which more is known than its day and length, with that, by date."""
    done = sorted((one for one in plan.stages if one.recorded is not None), key=lambda one: one.date or plan.on)
    return tuple(f"{one.label}, {one.date}: {told}" for one in done if (told := in_short(one)) != length_words(one))


def last_done(plan: Plan) -> str:
    """Return the operation done last with what was entered of it, "" where that is nothing."""
    done = [one for one in plan.stages if one.recorded is not None and one.date is not None]
    last = max(done, key=lambda one: one.date or plan.on, default=None)
    told = "" if last is None else in_short(last)
    return f"{last.label} on {last.date}: {lower_first(told)}." if last is not None and told else ""
