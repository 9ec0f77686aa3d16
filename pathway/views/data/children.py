"""A child of the list as data for other programs."""

from __future__ import annotations

from pathway.plan.model import Plan
from pathway.views.data.shapes import ChildPrinted
from pathway.views.words.children import next_stage


def child_data(name: str, plan: Plan | None, problems: tuple[str, ...] = ()) -> ChildPrinted:
    """Return a child of the list as data for other programs."""
    if plan is None:
        return ChildPrinted(name=name, problems=problems)
    stage = None if plan.conflicts else next_stage(plan)
    at = plan.growth.at_maturity
    return ChildPrinted(
        name=name,
        age_years=plan.child.age_years,
        diagnosis=f"{plan.child.diagnosis_label}, {plan.child.affected_side}",
        next_stage=stage.id if stage else None,
        next_label=stage.label if stage else "",
        when=stage.date if stage else None,
        discrepancy_at_maturity_mm=at.discrepancy_mm.p50 if at else None,
        close_call=plan.firmness.close_call,
        conflicts=tuple(item.explanation for item in plan.conflicts),
    )
