"""All that conditions may look at on a day, gathered from findings, the natural course and operations done."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pathway.days import age_years
from pathway.growth import PHYSES, Outlook, Step
from pathway.protocol.question import Question
from pathway.rule_engine.conditions import Facts
from pathway.rule_engine.findings import findings_on


def known_steps(question: Question) -> tuple[Step, ...]:
    """Return the operations already done, as growth sees them."""
    steps: list[Step] = []
    for operation in question.record.operations:
        if operation.date > question.on:
            continue
        age = age_years(question.record.child.date_of_birth, operation.date)
        done = question.protocol.stage(operation.kind)
        bone = done.bone or done.gains_in
        if bone is not None and operation.achieved_mm:
            by_distraction = done.bone is not None
            steps.append(Step("short", bone, age, adds_mm=operation.achieved_mm, by_distraction=by_distraction))
        if done.role == "growth_arrest":
            steps += [Step("long", PHYSES[plate], age, stops=(plate,)) for plate in operation.physes]
    return tuple(steps)


def facts_on(question: Question, natural: Outlook | None) -> Facts:
    """Return all that conditions may look at on a day; predicted quantities from the natural course."""
    predicted: Mapping[str, np.ndarray] = {}
    if natural is not None:
        predicted = {
            "predicted_discrepancy_at_maturity_mm": natural.at_maturity("discrepancy"),
            "predicted_femur_discrepancy_at_maturity_mm": natural.at_maturity("long_femur")
            - natural.at_maturity("short_femur"),
            "predicted_tibia_discrepancy_at_maturity_mm": natural.at_maturity("long_tibia")
            - natural.at_maturity("short_tibia"),
            "long_leg_growth_left_mm": natural.at_maturity("long_leg")
            - natural.at(age_years(question.record.child.date_of_birth, question.on), "long_leg"),
        }
    return Facts(
        age_years=age_years(question.record.child.date_of_birth, question.on),
        sex=question.record.child.sex,
        diagnosis=question.record.child.diagnosis,
        findings=findings_on(question),
        predicted=predicted,
        done={
            operation.kind: operation.date for operation in question.record.operations if operation.date <= question.on
        },
    )
