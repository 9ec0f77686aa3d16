"""What would change a stage, as lines: sets with 'and' and 'or', advice to repeat, why a stage is not there."""

from __future__ import annotations

from unittest import mock

import pytest

from pathway.plan.make import make_plan
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.questions.formula import Change
from pathway.questions.smallest_change import Near
from pathway.questions.why import find_stage, kind_of
from pathway.questions.why_changes import change_words, changes, changes_data, near_words, why_not
from tests.made_once import made_once
from tests.sample import HEALTHY, ON, SHALLOW_AND_BENT, five_year_old

PROTOCOL = load_protocol()


def texts(lines) -> list[str]:
    return [line.text for line in lines]


def test_a_set_is_told_with_todays_values_and_how_far_away_it_is() -> None:
    plan = made_once(Question(five_year_old(SHALLOW_AND_BENT), PROTOCOL, ON), compared=False)
    told = texts(changes(plan, find_stage(plan, "femoral_lengthening_1"), PROTOCOL))
    assert told[0] == "What would change it"
    (unlock,) = [text for text in told if text.startswith("centre-edge angle more than 20 deg")]
    away = (90 - 78) / PROTOCOL.finding("neck_shaft_angle_deg").sd
    assert unlock == (
        "centre-edge angle more than 20 deg (now 12 deg, 2.2 measurement errors from the threshold) and "
        f"neck-shaft angle at least 90 deg (now 78 deg, {away:.1f} measurement errors from the threshold)"
    )


def test_other_sets_of_the_same_size_follow_with_or() -> None:
    plan = made_once(Question(five_year_old(), PROTOCOL, ON), compared=False)
    told = texts(why_not(plan, "knee_preparation", PROTOCOL))
    at = told.index("it would be needed if:")
    assert not told[at + 1].startswith("or ")
    assert told[at + 2].startswith("or ")


def test_a_reading_near_a_threshold_is_told_as_advice_to_repeat() -> None:
    plan = made_once(Question(five_year_old({**HEALTHY, "center_edge_angle_deg": 21.0}), PROTOCOL, ON), compared=False)
    told = texts(changes(plan, find_stage(plan, "femoral_lengthening_1"), PROTOCOL))
    assert "centre-edge angle: 21 deg measured, threshold 20, error ±4: repeat the measurement" in told


def test_the_measurement_that_decides_most_is_told_with_how_to_take_it() -> None:
    plan = made_once(Question(five_year_old(without=("foot_plantigrade",)), PROTOCOL, ON), compared=False)
    told = texts(changes(plan, find_stage(plan, "femoral_lengthening_1"), PROTOCOL))
    at = told.index("Single measurements that would settle the most")
    (foot,) = [text for text in told[at:] if text.startswith("foot plantigrade (")]
    assert foot.endswith("would settle 1 open question, whatever the result")


def test_a_stage_not_in_the_plan_is_told_ground_by_ground_with_values() -> None:
    plan = made_once(Question(five_year_old(), PROTOCOL, ON), compared=False)
    told = texts(why_not(plan, "hip_preparation", PROTOCOL))
    assert told[0] == "Why hip preparation is not in the plan: no indication applies"
    assert any("centre-edge angle 28 deg" in text and "at most 20 deg" in text for text in told)
    assert any(text.startswith("source: ") for text in told)


def test_a_stage_that_the_course_does_without_is_told_so() -> None:
    with mock.patch("pathway.plan.make.with_first_call", return_value=((), None)):
        plan = make_plan(Question(five_year_old(), PROTOCOL, ON))
    absent = {item.about for item in plan.considered if item.kind == "indication"} - {s.kind for s in plan.stages}
    held = {
        item.about
        for item in plan.considered
        if item.kind == "indication" and item.reason.verdict and item.reason.verdict.state == "holds"
    }
    assert absent & held
    for kind in absent & held:
        assert texts(why_not(plan, kind, PROTOCOL))[0].endswith("but the course that comes first does without it")


def test_the_same_as_data() -> None:
    plan = made_once(Question(five_year_old(SHALLOW_AND_BENT), PROTOCOL, ON), compared=False)
    data = changes_data(plan, "femoral_lengthening", PROTOCOL, find_stage(plan, "femoral_lengthening_1"))
    assert set(data) == {"what_would_change", "near_thresholds", "decides_most"}
    unlock = next(item for item in data["what_would_change"] if item["effect"] == "unlock")
    assert {change["finding"]: change["to"] for change in unlock["changes"]} == {
        "center_edge_angle_deg": 21.0,
        "neck_shaft_angle_deg": 90.0,
    }


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            Change("a", "affected", "angle", "deg", 12.0, None, 21.0, "more than 20 deg", 2.25),
            "angle more than 20 deg (now 12 deg, 2.2 measurement errors from the threshold)",
        ),
        (Change("a", "affected", "flag", "", False, None, True, "yes", 1.0), "flag yes (now no)"),
        (
            Change("a", "affected", "angle", "deg", None, "declined", 21.0, "more than 20 deg", 0.0),
            "angle more than 20 deg (now declined)",
        ),
        (
            Change("age_years", "", "age", "years", 5.0, None, 6.0, "at least 6 years", 1.0),
            "age at least 6 years (now 5 years)",
        ),
    ],
)
def test_a_change_in_words(change, words) -> None:
    assert change_words(change) == words


def test_a_ratio_near_its_threshold_has_no_unit() -> None:
    item = Near("r", "femur length, short side / long side", "ratio", 0.505, 0.5, 0.01, "rule")
    assert (
        near_words(item)
        == "femur length, short side / long side: 0.51 measured, threshold 0.5, error ±0.01: repeat the measurement"
    )


@pytest.mark.parametrize(
    ("wanted", "kind"),
    [
        ("femoral lengthening", "femoral_lengthening"),
        ("Femoral-Lengthening 3", "femoral_lengthening"),
        ("femoral_lengthening_3", "femoral_lengthening"),
        ("knee replacement", None),
    ],
)
def test_the_kind_that_a_person_means(wanted, kind) -> None:
    assert kind_of(wanted, PROTOCOL) == kind
