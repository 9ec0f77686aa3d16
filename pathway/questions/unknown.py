"""What is not known, told apart by the steps that wait for it."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pathway.plan.model import OpenQuestion, Plan, PlanStage

_NUMBER = re.compile(r" \d+$")


def kind_label(stage: PlanStage) -> str:
    """Return what a stage is called without its number, as a rule names it: `Femoral lengthening`."""
    return _NUMBER.sub("", stage.label)


def waits_for(stage: PlanStage, question: OpenQuestion) -> bool:
    """Return whether a stage waits for a finding: by its conditions and device, or by the rules on its kind."""
    return bool({stage.label, kind_label(stage)} & set(question.needed_for))


def shared_out(plan: Plan, stages: Sequence[PlanStage]) -> tuple[tuple[OpenQuestion, ...], tuple[OpenQuestion, ...]]:
    """Return what is not known for some stages, and what only other steps wait for, each in the order of the plan."""
    own = tuple(one for one in plan.open_questions if any(waits_for(stage, one) for stage in stages))
    return own, tuple(one for one in plan.open_questions if one not in own)


def waiting(plan: Plan, question: OpenQuestion) -> tuple[PlanStage, ...]:
    """Return the stages to come that wait for a finding."""
    return tuple(stage for stage in plan.stages if not stage.begun and waits_for(stage, question))


def not_known(stage: PlanStage) -> int:
    """Return how many conditions of a stage are not known today."""
    return sum(gate.state == "unknown" for gate in stage.gates)


def not_met(stage: PlanStage) -> int:
    """Return how many conditions of a stage fail today and are mended by no step before it."""
    return sum(gate.state == "fails" and gate.mended_by is None for gate in stage.gates)
