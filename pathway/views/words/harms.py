"""What may go wrong at the stages of a plan, for the team: how often, and of whom that was counted."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.plan.model import Plan, PlanStage, StageHarm

HEADING = "What can go wrong"
NOTE = "Of 100 such lengthenings, best guess with the range from team to team; or of one published series."


def with_harms(plan: Plan) -> tuple[PlanStage, ...]:
    """Return the stages whose harms every view names: those to come with a date, operations without one left out."""
    return tuple(stage for stage in plan.stages if stage.harms and stage.date is not None and not stage.begun)


def harm_words(stage: PlanStage) -> str:
    """Return what may go wrong at a stage in one sentence, what was counted first, the most frequent before others."""
    counted = sorted((h for h in stage.harms if h.per_100 is not None), key=lambda h: -(h.per_100 or 0.0))
    told = [_often(harm) for harm in counted]
    told += [harm.label for harm in stage.harms if harm.per_100 is None]
    if not told:
        return ""
    if not counted:
        return f"{'; '.join(told)} (no counts)"
    return "; ".join(told)


def _often(harm: StageHarm) -> str:
    of = "" if harm.of == "such lengthenings" else f", of {harm.of}"
    return f"{harm.label} {harm.per_100:.0f} ({harm.low:.0f}-{harm.high:.0f}{of})"


def harm_lines(plan: Plan) -> Iterator[str]:
    """Yield a line for each stage with harms; stages that say the same share one."""
    said: dict[str, list[str]] = {}
    for stage in with_harms(plan):
        said.setdefault(harm_words(stage), []).append(stage.label)
    for text, labels in said.items():
        yield f"{', '.join(labels)}: {text}."
