"""What cannot be is refused by name; what is only extreme is asked back."""

from __future__ import annotations

import pytest

from pathway.growth import growth_faults, growth_questions
from pathway.protocol.model import Protocol
from pathway.record import Operation
from tests.growth.children import bones, child


@pytest.mark.parametrize("wrong", [-5.0, 0.0])
def test_a_length_that_is_not_above_zero_is_refused(protocol: Protocol, wrong: float) -> None:
    (fault,) = growth_faults(child(bones(5, (wrong, 250, 200, 205))), protocol)
    assert "femur_length_mm left" in fault.sentence
    assert "above 0 mm" in fault.sentence


def test_a_sound_bone_shorter_than_a_newborns_is_refused(protocol: Protocol) -> None:
    # 85 mm at 10 years; newborn boys' femora measure about 93 mm (mature 472.3 over the multiplier 5.08).
    (fault,) = growth_faults(child(bones(10, (80, 85, 270, 285))), protocol)
    assert "femur_length_mm right" in fault.sentence
    assert "newborn" in fault.sentence
    assert growth_faults(child(bones(0.02, (80, 85, 70, 72))), protocol) == ()


@pytest.mark.parametrize("short", [1.0, 40.0, 85.0])
def test_the_short_side_however_extreme_is_asked_back_and_not_refused(protocol: Protocol, short: float) -> None:
    record = child(bones(10, (short, 360, 270, 285)))
    assert growth_faults(record, protocol) == ()
    (question,) = growth_questions(record, protocol)
    assert f"{short:g} mm" in question
    assert question.startswith("Is the femur of the shorter leg")


def test_a_sound_bone_far_from_the_mean_of_its_age_is_asked_back(protocol: Protocol) -> None:
    (question,) = growth_questions(child(bones(10, (300, 480, 270, 285))), protocol)
    assert "femur of the longer leg" in question
    assert "10 y" in question


def test_an_ordinary_child_is_asked_nothing(protocol: Protocol) -> None:
    record = child(bones(10, (300, 360, 270, 285)))
    assert growth_faults(record, protocol) == growth_questions(record, protocol) == ()


@pytest.mark.parametrize(("gained", "asked"), [(48.0, False), (60.0, False), (84.0, True), (480.0, True)])
def test_a_lengthening_that_gained_more_than_the_rules_ever_plan_is_asked_back(
    protocol: Protocol, gained: float, asked: bool
) -> None:
    # The rules plan at most 80 mm for the femur before 8 years.
    assert {rule.most_mm for rule in protocol.amount_limits if rule.id == "femoral_lengthening.young_60mm"} == {60}
    once = child(bones(6, (230, 280, 210, 225)))
    day = once.visits[0].date
    done = Operation(kind="femoral_lengthening", date=day, side=once.affected_side, achieved_mm=gained)
    questions = growth_questions(once.model_copy(update={"operations": (done,)}), protocol)
    assert any(f"really gain {gained:g} mm? At 6 y the rules plan at most 80 mm" in q for q in questions) == asked
    assert growth_questions(once, protocol) == ()


def test_a_skeletal_age_outside_the_ages_of_its_method_is_asked_back(protocol: Protocol) -> None:
    # Dimeglio et al. 2005: the elbow is read from 13 to 15 years in boys.
    seen = bones(10, (300, 360, 270, 285), skeletal_age=11.0).model_copy(update={"skeletal_age_method": "elbow_stages"})
    (question,) = growth_questions(child(seen), protocol)
    assert "really read by elbow (olecranon) stages? That tells 13 to 15 years in a boy, not 11" in question
    fine = seen.model_copy(update={"skeletal_age_method": "hand_atlas"})
    assert growth_questions(child(fine), protocol) == ()


def test_a_skeletal_age_far_from_the_calendar_is_asked_back(protocol: Protocol) -> None:
    # A digit too few: 1.0 for 10. Four times the spread of 1.1 years between children (Alcina et al. 2015).
    (question,) = growth_questions(child(bones(10, (300, 360, 270, 285), skeletal_age=1.0)), protocol)
    assert "Is the skeletal age" in question
    assert "The child was 10 y old" in question
    assert growth_questions(child(bones(10, (300, 360, 270, 285), skeletal_age=7.0)), protocol) == ()
