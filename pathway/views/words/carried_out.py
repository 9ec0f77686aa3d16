"""What was carried out, between two plans of a child or of a course that was chosen, and what follows."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.plan.model import CHOSEN_COURSE, Plan, PlanStage
from pathway.protocol.words import lower_first
from pathway.views.words.done import in_short

CARRIED_OUT = ("done", "under_way")


def carried_out(before: Plan, plan: Plan) -> tuple[PlanStage, ...]:
    """Return the operations that are done, or under way, in a plan and were not yet in the one before it."""
    known = {(one.kind, one.date) for one in before.stages if one.status in CARRIED_OUT}
    return tuple(
        one for one in plan.stages if one.operation and one.status in CARRIED_OUT and (one.kind, one.date) not in known
    )


def carried_out_words(before: Plan, plan: Plan) -> Iterator[str]:
    """Yield what was carried out and what follows; nothing where no operation was."""
    done = carried_out(before, plan)
    if not done:
        return
    planned = {one.id: one.amount_mm for one in before.stages if not one.begun}
    yield f"Carried out: {'; '.join(_with_what(one, planned.get(one.id)) for one in done)}."
    ahead = [one for one in plan.stages if one.operation and one.status not in CARRIED_OUT and one.date is not None]
    following = min(ahead, key=lambda one: one.date or plan.on, default=None)
    course = plan.recommended
    length = f" For length from here: {course.summary}." if course is not None else ""
    yield f"What follows: {_dated(following) if following else 'no operation has a date'}.{length}"


def of_chosen(plan: Plan) -> tuple[str, ...]:
    """Return what became of the course that family or team chose: what was carried out, what follows."""
    return tuple(text for text in plan.notices if CHOSEN_COURSE in lower_first(text))


def _with_what(stage: PlanStage, planned_mm: float | None) -> str:
    told = in_short(stage, planned_mm)
    return f"{_dated(stage)}{f', {told}' if told else ''}"


def _dated(stage: PlanStage) -> str:
    return f"{lower_first(stage.label)}{f' on {stage.date}' if stage.date else ''}"
