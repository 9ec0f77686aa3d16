"""What cannot be is refused by name; what is only extreme is asked back."""

from __future__ import annotations

import pytest

from pathway.growth import growth_faults, growth_questions
from pathway.protocol.model import Protocol
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
    assert "10.0 years" in question


def test_an_ordinary_child_is_asked_nothing(protocol: Protocol) -> None:
    record = child(bones(10, (300, 360, 270, 285)))
    assert growth_faults(record, protocol) == growth_questions(record, protocol) == ()
