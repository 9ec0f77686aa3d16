"""The length that straightening the upper femur gains: counted in the plan where neck and angle are measured."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from pathway.courses.hip_gain import length_gained_mm
from pathway.growth import Step, fit_growth, outlook
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.record import Value
from pathway.rule_engine.facts import known_steps
from pathway.worksheets.case import case_of
from pathway.worksheets.kinds import stage_of
from pathway.worksheets.osteotomy import worksheet
from tests.made_once import made_once
from tests.sample import ON, SHALLOW_AND_BENT, at_age, child, five_year_old, operation, visit

PROTOCOL = load_protocol()
NECK = {**SHALLOW_AND_BENT, "femoral_neck_length_mm": 30.0}


def test_it_is_the_rise_of_the_head_above_the_foot_of_the_neck() -> None:
    """A neck that stood level (90 deg) and comes to stand at 135 deg lifts the head by its length over root two."""
    assert length_gained_mm(90, 135, 40) == pytest.approx(40 / 2**0.5)
    assert length_gained_mm(120, 120, 40) == 0
    assert length_gained_mm(130, 100, 40) == pytest.approx(-length_gained_mm(100, 130, 40))


def test_the_plan_counts_it_where_neck_and_angle_are_measured() -> None:
    plan, without = (
        made_once(Question(five_year_old(NECK), PROTOCOL, ON), compared=False),
        made_once(Question(five_year_old(SHALLOW_AND_BENT), PROTOCOL, ON), compared=False),
    )
    assert plan.recommended is not None
    assert without.recommended is not None
    gain = length_gained_mm(78, PROTOCOL.number("osteotomy_neck_shaft_target_deg"), 30)
    assert gain > 15
    less = without.recommended.predicted_mm - plan.recommended.predicted_mm
    assert less == pytest.approx(gain, abs=0.2)
    assert any("is expected to add 23 mm of length" in notice for notice in plan.notices)
    assert not any("is expected to add" in notice for notice in without.notices)
    # What is shown as the natural course stays that of the bone as it is.
    assert plan.growth.at_maturity == without.growth.at_maturity


BONE = {**NECK, "femoral_shaft_width_mm": 18.0, "femoral_version_deg": 20.0}
BONES = {
    "as measured": BONE,
    "turned back, with a flexion deformity": {
        **BONE, "femoral_version_deg": -10.0, "proximal_femur_flexion_deg": 25.0
    },
    "with a growth plate so steep that more than the target is aimed at": {
        **BONE, "hilgenreiner_epiphyseal_angle_deg": 90.0
    },
}  # fmt: skip


@pytest.mark.parametrize("bone", BONES.values(), ids=BONES.keys())
def test_it_is_the_number_of_the_sheet_where_the_bone_is_measured(bone: Mapping[str, Value]) -> None:
    question = Question(five_year_old(bone), PROTOCOL, ON)
    plan, bent = (
        made_once(question, compared=False),
        made_once(Question(five_year_old(SHALLOW_AND_BENT), PROTOCOL, ON), compared=False),
    )
    told = worksheet(case_of(question, plan, stage_of("osteotomy", plan, PROTOCOL, None)), {}).numbers

    assert told is not None
    gain = told["length_gain_mm"]
    assert isinstance(gain, float)
    assert gain > 10
    assert plan.recommended is not None
    assert bent.recommended is not None
    assert bent.recommended.predicted_mm - plan.recommended.predicted_mm == pytest.approx(gain, abs=0.2)
    said = f"is expected to add {gain:.0f} mm of length, as its worksheet works out from head to knee"
    assert any(said in notice for notice in plan.notices)


def test_length_that_comes_of_an_angle_costs_no_growth() -> None:
    record = five_year_old()
    posterior = fit_growth(Question(record, PROTOCOL, ON))
    assert posterior is not None
    at = outlook(posterior, (Step("short", "femur", 6.0, adds_mm=20, by_distraction=False),)).at_maturity()
    assert at == pytest.approx(outlook(posterior).at_maturity() - 20, abs=0.01)
    pulled = outlook(posterior, (Step("short", "femur", 6.0, adds_mm=20),)).at_maturity()
    assert pulled.mean() > at.mean()


def test_a_gain_recorded_with_the_osteotomy_is_not_taken_for_growth() -> None:
    done = operation("proximal_femoral_osteotomy", at_age(5.1), achieved_mm=20)
    record = child(visit(at_age(5), SHALLOW_AND_BENT), operations=(done,))
    steps = known_steps(Question(record, PROTOCOL, at_age(5.5)))
    assert steps[0].adds_mm == 20
    assert not steps[0].by_distraction
