"""What a month with a device weighs, by bone and age."""

from __future__ import annotations

import numpy as np
import pytest

from pathway.courses.policy.device_cost import device_month_weight
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Bone

WEIGHTS = {"weigh_frame_month": 3.0, "weigh_nail_month": 1.0, "nail_from_years_femur": 12, "nail_from_years_tibia": 14}


@pytest.mark.parametrize(("bone", "expected"), [("femur", [3, 3, 1, 1]), ("tibia", [3, 3, 3, 1])])
def test_a_nail_month_counts_from_its_age_on(bone: Bone, expected: list[float]) -> None:
    found = device_month_weight(bone, np.array([4.0, 11.9, 12.0, 14.0]), WEIGHTS.__getitem__)
    assert found.tolist() == expected


def test_with_the_rules_a_nail_month_weighs_less_and_comes_to_the_femur_first() -> None:
    number = load_protocol().number
    ages = np.arange(3.0, 18.0, 0.5)
    femur, tibia = (device_month_weight(bone, ages, number) for bone in ("femur", "tibia"))
    assert (np.diff(femur) <= 0).all()
    assert (femur <= tibia).all()
    assert femur[0] > femur[-1]
