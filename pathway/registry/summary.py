"""The few words of a plan that a list of children shows. Pure."""

from __future__ import annotations

from typing import Any

from pathway.plan_model import Plan, PlanStage

_TO_COME = ("ready", "later", "blocked", "under_way")


def summary_of(plan: Plan) -> dict[str, Any]:
    """Return what lists need of a plan, as plain data: `StoredPlan.summary`.

    `next` is the first stage to come in words with its date; lengths mm.
    """
    dated = [stage for stage in plan.stages if stage.status in _TO_COME and stage.date is not None]
    first = min(dated, key=lambda stage: str(stage.date), default=None)
    return {
        "date_of_birth": plan.child.date_of_birth.isoformat(),
        "sex": plan.child.sex,
        "diagnosis": plan.child.diagnosis_label,
        "next": "" if first is None else _words(first),
        "open_questions": len(plan.open_questions),
        "conflicts": len(plan.conflicts),
    }


def _words(stage: PlanStage) -> str:
    under_way = " (under way)" if stage.status == "under_way" else ""
    return f"{stage.label}, {stage.date}{under_way}"
