"""Where the shaft goes under a plate: the flat formulas where all is flat, and the model's numbers everywhere."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from pathway.upper_femur.model import Femur, Plan, knee_below_crossing_mm, placement, result, solved
from pathway.worksheets.osteotomy import shift
from tests.upper_femur.femora import planned
from tests.worksheets.osteotomy import flat

FEMORA = [item for item in planned(seed=31, count=40) if item[0].length_mm > 2 * item[0].neck_mm]


def flat_bone(angle, neck=34.0, width=20.0, length=240.0):
    return Femur("left", angle, 0, 0, "shaft_side", None, neck, width, 17, 14, 40, length)


def flat_plan(angle, target, cut=4.0):
    # The wire along the neck: the implant has the angle that is wanted.
    return Plan(target, 0, target, 15, cut, blade_mm=0.0)


@settings(deadline=None)
@given(st.floats(70, 130), st.floats(5, 45), st.floats(1, 40))
def test_flat_the_neck_s_base_comes_back_by_d_sin_of_the_valgus(angle, valgus, below):
    bone, plan = flat_bone(angle), flat_plan(angle, angle + valgus, below)
    found = solved(bone, plan)
    assume(found.settings is not None)
    cut = -placement(bone, plan, found.settings).level_mm
    assert cut == pytest.approx(flat.entry_below_crossing_mm(angle, 20) + below)
    base = shift.other_goals(bone, plan, found.settings, 6)[0]
    assert base.numbers["plate_shift_mm"] == pytest.approx(flat.neck_base_shift_mm(cut, valgus), abs=1e-6)


@given(st.floats(70, 150), st.floats(20, 45), st.floats(120, 300))
def test_flat_the_axes_now_are_those_of_a_triangle(angle, neck, knee):
    bone = flat_bone(angle, neck, length=flat.length_mm(angle, neck, knee))
    assert knee_below_crossing_mm(bone) == pytest.approx(knee)
    assert shift.axes_before_deg(bone) == pytest.approx(flat.axes_deg(angle, neck, knee))


def test_flat_a_full_wedge_is_the_width_by_the_tangent():
    for valgus in (10, 20, 30, 45):
        bone, plan = flat_bone(90), flat_plan(90, 90 + valgus)
        (_, none, open_), *_, (_, full, closed) = shift.wedges(bone, plan, solved(bone, plan).settings)
        assert (none, full) == pytest.approx((0, flat.full_wedge_mm(20, valgus)))
        # The base comes off the length along the new shaft, and the shift stays.
        assert closed.numbers["plate_shift_mm"] == pytest.approx(open_.numbers["plate_shift_mm"])
        assert closed.numbers["length_gain_mm"] < open_.numbers["length_gain_mm"]


@pytest.mark.parametrize("item", FEMORA)
def test_each_goal_is_what_the_model_makes_of_its_plate(item):
    bone, plan, at = item
    goals = shift.other_goals(bone, plan, at, 5.4)
    for goal in (shift.as_planned(bone, plan, at), *goals):
        assert goal.numbers == result(bone, replace(plan, offset_mm=goal.offset_mm), at).numbers
    assert shift.as_planned(bone, plan, at).numbers == result(bone, plan, at).numbers
    for goal in goals[1:]:
        assert goal.axes_deg == pytest.approx(5.4, abs=1e-4)


@pytest.mark.parametrize("item", FEMORA[:10])
def test_what_leaves_enough_contact_does_so(item):
    bone, plan, at = item
    least = 0.9
    ways = shift.ways_out(bone, plan, at, least)
    if ways.cut_below_corner_mm is not None:
        cut = ways.cut_below_corner_mm
        there = result(bone, replace(plan, cut_below_corner_mm=cut), replace(at, cut_below_corner_mm=cut))
        assert there.numbers["contact_share"] >= least
    if ways.neck_shaft_deg is not None:
        there = solved(bone, replace(plan, neck_shaft_deg=ways.neck_shaft_deg))
        assert there.numbers["contact_share"] >= least
