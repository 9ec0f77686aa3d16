"""What a wish asks for: the neck-shaft angle with which the growth plate comes to slope as wanted."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pathway.upper_femur.model import NotPossible, angles_of, neck_shaft_along, result, solved
from pathway.upper_femur.targets import angles_for, neck_shaft_for_epiphyseal
from tests.upper_femur.femora import planned

FEMORA = planned(seed=41, count=60, bone_epiphyseal_deg=62.0)


@pytest.mark.parametrize("item", FEMORA)
def test_angles_alone_are_those_of_the_whole_result(item):
    bone, plan, settings = item
    whole = result(bone, plan, settings).numbers
    for name, value in angles_of(bone, plan, settings).items():
        assert whole[name] == value


@pytest.mark.parametrize("item", FEMORA)
def test_the_angle_found_brings_the_growth_plate_to_its_slope(item):
    bone, plan, _ = item
    aim = neck_shaft_for_epiphyseal(bone, plan, 35.0)
    if aim is None:
        return
    there = solved(bone, replace(plan, neck_shaft_deg=aim, found_wire=None)).numbers
    assert there["epiphyseal_after_deg"] == pytest.approx(35.0, abs=1e-5)
    assert angles_for(bone, plan, aim)["epiphyseal_after_deg"] == pytest.approx(35.0, abs=1e-5)


def test_most_are_found():
    found = [neck_shaft_for_epiphyseal(bone, plan, 35.0) for bone, plan, _ in FEMORA]
    assert sum(one is not None for one in found) > 0.7 * len(found)


def test_flat_each_degree_of_slope_is_a_degree_of_the_neck():
    bone, plan, _ = FEMORA[0]
    flat = replace(bone, version_deg=0.0, flexion_deg=0.0, neck_shaft_deg=95.0)
    aim = neck_shaft_for_epiphyseal(flat, replace(plan, version_deg=0.0), 38.0)
    assert aim == pytest.approx(95 + 62 - 38)


def test_a_slope_that_nobody_measured_asks_for_nothing():
    bone, plan, _ = FEMORA[0]
    assert neck_shaft_for_epiphyseal(replace(bone, epiphyseal_deg=None), plan, 38.0) is None


@pytest.mark.parametrize("item", FEMORA)
def test_a_wire_as_it_lies_gives_the_angle_that_the_whole_plan_gives(item):
    bone, plan, _ = item
    there = solved(bone, replace(plan, found_wire=(85.0, 5.0), blade_mm=20.0)).numbers.get("neck_shaft_after_deg")
    if there is not None:
        assert neck_shaft_along(bone, plan.implant_deg, 85.0, 5.0) == pytest.approx(there)


def test_a_wire_that_no_shaft_can_be_brought_to_is_said_to_be_one():
    bone, _, _ = FEMORA[0]
    with pytest.raises(NotPossible):
        neck_shaft_along(replace(bone, flexion_deg=60.0, version_deg=0.0), 170.0, 120.0, 0.0)
