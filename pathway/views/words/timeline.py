"""The timeline in words: what stands in each lane, the difference as measured, and the curve as a table."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.days import age_on
from pathway.plan.model import Plan, PlanStage
from pathway.views.data.shapes import StageOnTimeline, TimelinePrinted
from pathway.views.pictures.short_names import LANES
from pathway.views.pictures.timeline import no_curve
from pathway.views.words import roads
from pathway.views.words.curve_table import curve_table
from pathway.views.words.done import in_short
from pathway.views.words.plan import (
    PROSTHETIC_HEADING,
    amount_words,
    bones_lines,
    road_mark,
    state_words,
)
from pathway.views.words.sides import side_words
from pathway.views.words.wrapping import wrap

_NOT_YET = "no date yet"


def timeline_words(plan: Plan, width: int) -> Iterator[str]:
    """Yield the timeline of a plan lane by lane, each stage with its days; then what was measured, and the curve."""
    for lane, label in LANES.items():
        inside = (stage for stage in roads.other_stages(plan) if stage.lane == lane)
        stages = sorted(inside, key=lambda stage: (stage.date is None, stage.date or plan.on))
        if stages:
            yield ""
            yield label
        for stage in stages:
            yield from _stage(plan, stage, width)
    steps = roads.prosthetic_stages(plan)
    if steps:
        yield ""
        yield f"{PROSTHETIC_HEADING}: usual ages, no dates"
    for stage in steps:
        head = f"  {state_words(stage):<9}  "
        yield from wrap(f"{stage.label}: {roads.usual_words(plan, stage)}", width, head, " " * len(head))
    yield ""
    yield "Leg difference"
    for point in plan.growth.measured:
        age = age_on(plan.child.date_of_birth, point.date)
        yield f"  measured {side_words(point.discrepancy_mm)} on {point.date}, at {age}"
    if plan.child.affected_side == "both":
        yield from bones_lines(plan, width)
        return
    if not plan.growth.by_age:
        yield from wrap(no_curve(plan), width, "  ", "    ")
        yield from (f"  Measure first: {question.label}" for question in plan.open_questions)
        return
    yield ""
    yield from curve_table(plan, width)


def _stage(plan: Plan, stage: PlanStage, width: int) -> Iterator[str]:
    when = f"{stage.date}  {age_on(plan.child.date_of_birth, stage.date):>9}" if stage.date else f"{_NOT_YET:<21}"
    head = f"  {when}  {state_words(stage):<9}  "
    yield from wrap(f"{stage.label}{road_mark(plan, stage)}{_tail(plan, stage)}", width, head, " " * len(head))


def _tail(plan: Plan, stage: PlanStage) -> str:
    achieved = stage.recorded is not None and stage.recorded.achieved_mm is not None
    parts = ["" if achieved else amount_words(stage), in_short(stage), roads.late_words(plan, stage)]
    if stage.end_date is not None and stage.date is not None and stage.end_date > stage.date:
        parts.append(f"until {stage.end_date}")
    open_ = stage.window is not None and stage.window.latest != stage.window.earliest
    if stage.window is not None and open_ and not stage.begun:
        latest = f"to {stage.window.latest}" if stage.window.latest else "on"
        parts.append(f"allowed from {stage.window.earliest} {latest}")
    shown = [part for part in parts if part]
    return ": " + "; ".join(shown) if shown else ""


def timeline_data(plan: Plan, at_age: tuple[str, ...], conflicts: tuple[str, ...]) -> TimelinePrinted:
    """Return the timeline as data for other programs; `at_age` are the sentences on the age asked for."""
    fields = StageOnTimeline.model_fields
    return TimelinePrinted(
        child=plan.child.id,
        on=plan.on,
        stages=tuple(StageOnTimeline(**{name: getattr(stage, name) for name in fields}) for stage in plan.stages),
        roads=plan.roads,
        refused=plan.refused,
        measured=plan.growth.measured,
        by_age=plan.growth.by_age,
        at_age=at_age,
        notices=plan.notices,
        conflicts=conflicts,
        caution=plan.cautions[0].text,
    )
