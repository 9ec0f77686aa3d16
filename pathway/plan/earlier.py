"""The operations of a plan that was accepted, as the next plan is asked to keep them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from pathway.protocol.question import EarlierOperation

if TYPE_CHECKING:  # the registry reads stored plans as data
    from pathway.plan.model import Plan


def earlier_of(plan: Plan) -> tuple[EarlierOperation, ...]:
    """Return the operations for length of a plan's course, done or not; none where it has no course."""
    return _earlier(course.model_dump() for course in plan.alternatives)


def earlier_of_data(plan: Mapping[str, Any]) -> tuple[EarlierOperation, ...]:
    """Return the same of a plan as it was stored, of whatever version."""
    return _earlier(plan.get("alternatives", ()))


def _earlier(courses: Iterable[Mapping[str, Any]]) -> tuple[EarlierOperation, ...]:
    best = next((course for course in courses if course.get("recommended")), None)
    stages = () if best is None else best.get("stages", ())
    return tuple(
        EarlierOperation(
            stage=stage["id"],
            age_years=float(stage["age_years"]),
            amount_mm=float(stage.get("amount_mm") or 0.0),
            physes=tuple(stage.get("physes", ())),
        )
        for stage in stages
    )
