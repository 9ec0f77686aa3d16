"""The title of a child's timeline in the width there is: what state the plan is in is never cut."""

from __future__ import annotations

from collections.abc import Iterable

from pathway.days import age_on
from pathway.plan.model import Plan

MARK = "✎"
"""What begins a state that stands without a comma before it."""
LEAST_DIAGNOSIS = 8
"""So many letters of a diagnosis still tell something; of fewer it is left out."""


def title_of(plan: Plan, state: Iterable[str], width: int) -> str:
    """Return who the child is and, whole, in which state the plan is; the diagnosis makes room for it first.

    After the diagnosis the day of the plan goes, then the side and the sex: those also stand elsewhere.
    """
    child = plan.child
    age = age_on(child.date_of_birth, plan.on)
    state = "".join(f" {one}" if one.startswith(MARK) else f", {one}" for one in state)
    said = f"{child.id}: {child.sex}, {age}, {child.diagnosis_label}, {child.affected_side}; {plan.on}{state}"
    if len(said) <= width:
        return said
    said = f"{child.id}: {child.sex}, {age}, {child.diagnosis_label}, {child.affected_side}{state}"
    if len(said) <= width:
        return said
    room = width - len(f"{child.id}: {child.sex}, {age}, , {child.affected_side}{state}")
    if room >= LEAST_DIAGNOSIS:
        short = f"{child.diagnosis_label[: room - 1].rstrip(' ,(')}…"
        return f"{child.id}: {child.sex}, {age}, {short}, {child.affected_side}{state}"
    brief = (f"{child.id}: {child.sex}, {age}, {child.affected_side}{state}", f"{child.id}: {age}{state}")
    return next((one for one in brief if len(one) <= width), f"{child.id}{state}")
