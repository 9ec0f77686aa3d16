"""A child with two centimetres predicted gets nothing: no operation is worth that (as published practice has it)."""

from __future__ import annotations

import pytest

from pathway.courses.course import NO_SURGERY
from pathway.plan.make import make_plan
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.record import Record
from pathway.views.words.plan import plan_text
from tests.family import family_text
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


def seven_year_old(ratio: float) -> Record:
    """A girl of 7 with a short femur, in proportion to the other by `ratio`; three films narrow what is expected."""
    other = LEGS["other.femur_length_mm"] * 1.27
    visits = []
    for age in (5.0, 6.0, 7.0):
        grown = other * (0.86, 0.93, 1.0)[int(age) - 5]
        legs = {
            "other.femur_length_mm": grown,
            "affected.femur_length_mm": ratio * grown,
            "other.tibia_length_mm": 0.8 * grown,
            "affected.tibia_length_mm": 0.8 * grown,
        }
        visits.append(visit(at_age(age), {**HEALTHY, **legs}))
    return child(*visits, sex="girl")


def test_a_girl_of_seven_with_two_centimetres_expected_gets_a_film_at_eight_to_ten_and_the_reason() -> None:
    # The band of the case is 1.1 to 3.0 cm: its lower end is under 15 mm, so nothing on the healthy leg is proposed.
    plan = make_plan(Question(seven_year_old(0.956), load_protocol(), at_age(7.0)), compared=False)
    assert plan.growth.at_maturity is not None
    expected = plan.growth.at_maturity.discrepancy_mm
    assert expected.p50 == pytest.approx(20, abs=2)
    assert expected.p05 == pytest.approx(11, abs=3)
    assert expected.p95 == pytest.approx(30, abs=3)
    assert not [stage.id for stage in plan.stages if stage.operation]
    film = next(stage for stage in plan.stages if stage.kind == "film_before_deciding")
    assert film.status == "later"
    assert film.age_years is not None
    assert 8 <= film.age_years <= 10
    assert "no operation on the healthy leg is dated from one millimetre" in film.because[0].text
    assert film.label in " ".join(plan_text(plan).split())
    assert film.family_words.partition(".")[0] in " ".join(family_text(plan).split())


def test_one_millimetre_does_not_bring_an_operation_on_the_healthy_leg() -> None:
    # 1 mm of 330 mm beside the girl above.
    for ratio in (0.956 - 1 / 330, 0.956, 0.956 + 1 / 330):
        plan = make_plan(Question(seven_year_old(ratio), load_protocol(), at_age(7.0)), compared=False)
        assert not [stage.id for stage in plan.stages if stage.operation and stage.date is not None]


def test_a_firm_difference_over_two_centimetres_is_offered_a_growth_arrest() -> None:
    # The other side of the border: the lower end of the band lies over 15 mm.
    plan = make_plan(Question(seven_year_old(0.93), load_protocol(), at_age(7.0)), compared=False)
    assert plan.growth.at_maturity is not None
    assert plan.growth.at_maturity.discrepancy_mm.p05 > 15
    assert "contralateral_growth_arrest" in {stage.kind for stage in plan.stages}
    assert "film_before_deciding" not in {stage.kind for stage in plan.stages}
