"""A child with two centimetres predicted gets nothing: no operation is worth that (as published practice has it)."""

from __future__ import annotations

import pytest

from pathway.courses.course import NO_SURGERY
from pathway.plan.make import make_plan
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from tests.sample import HEALTHY, LEGS, at_age, child, visit

DAYS = {"young": 5.0, "at the age of growth arrest": 10.5}


@pytest.mark.parametrize("age", DAYS)
def test_two_centimetres_predicted_are_left(age: str) -> None:
    years = DAYS[age]
    other = LEGS["other.femur_length_mm"] * (1.0 if years < 6 else 1.36)
    legs = {
        "other.femur_length_mm": other,
        "affected.femur_length_mm": 0.957 * other,
        "other.tibia_length_mm": 0.8 * other,
        "affected.tibia_length_mm": 0.8 * other,
    }
    plan = make_plan(
        Question(child(visit(at_age(years), {**HEALTHY, **legs})), load_protocol(), at_age(years)), compared=False
    )
    assert plan.recommended is not None
    assert plan.recommended.predicted_mm == pytest.approx(20, abs=3)
    assert plan.recommended.id == NO_SURGERY
    assert not [stage.id for stage in plan.stages if stage.operation and stage.date is not None]
