"""Where the shaft goes, what contact is left, what length is gained."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pathway.courses.hip_gain import length_gained_mm
from pathway.worksheets.osteotomy import correction, shift
from pathway.worksheets.osteotomy.correction import Steps
from pathway.worksheets.osteotomy.frames import NeckAngles
from pathway.worksheets.osteotomy.shift import Femur
from tests.worksheets.osteotomy.strategies import necks, sides, turns

bones = st.builds(Femur, st.floats(8, 80), st.floats(0, 60), st.floats(80, 400), st.floats(6, 50))


def valgus(angle_deg, plane_deg=0.0):
    return correction.turn_of(Steps(angle_deg, 0, 0, plane_deg), "left")


def test_35_degrees_of_valgus_40_mm_below_the_crossing_need_a_whole_bone_width_in_a_small_child():
    bone = Femur(35, 40, 250, 22)
    placed = shift.neck_base_on_axis(NeckAngles(100, 0), valgus(35), bone, "left")
    assert shift.neck_base_shift_mm(40, 35) == pytest.approx(23, abs=0.5)
    assert placed.lateral_mm == pytest.approx(23, abs=0.5)
    assert placed.contact == 0


@given(st.floats(20, 160), bones, st.floats(-60, 60))
def test_in_one_plane_the_shift_is_d_sin_d_lateral_with_valgus_medial_with_varus(angle, bone, change):
    placed = shift.neck_base_on_axis(NeckAngles(angle, 0), valgus(change), bone, "left")
    assert placed.lateral_mm == pytest.approx(shift.neck_base_shift_mm(bone.cut_mm, change), abs=1e-9)
    assert placed.anterior_mm == pytest.approx(0, abs=1e-9)


@given(necks, bones, turns, turns, turns)
def test_the_right_is_the_mirror_image_of_the_left(before, bone, one, two, three):
    taken = Steps(one, two, three, before.version_deg)
    for goal in (shift.unmoved, shift.neck_base_on_axis):
        left, right = (goal(before, correction.turn_of(taken, side), bone, side) for side in ("left", "right"))
        for name in ("lateral_mm", "anterior_mm", "contact", "axis_deg", "gain_mm", "offset_mm"):
            assert getattr(left, name) == pytest.approx(getattr(right, name), abs=1e-6), name


@given(necks, bones, sides)
def test_no_correction_moves_and_gains_nothing(before, bone, side):
    placed = shift.neck_base_on_axis(before, valgus(0), bone, side)
    assert (placed.size_mm, placed.gain_mm, placed.contact) == pytest.approx((0, 0, 1), abs=1e-9)


@given(necks, bones, st.floats(-60, 60), st.floats(2, 9), sides)
def test_the_wanted_angle_of_the_axes_is_reached(before, bone, change, aim, side):
    turn = correction.turn_of(Steps(change, 0, 0, before.version_deg), side)
    placed = shift.with_axis_angle(before, turn, bone, side, aim)
    if placed.gain_mm > -50:
        # Of a head that comes to lie below the knee the axis points the other way.
        off = abs(placed.axis_deg - aim)
        assert min(off, abs(off - 180)) <= 1e-6


@given(bones, st.floats(1, 85), st.floats(0.05, 0.95))
def test_each_way_out_keeps_the_contact(bone, bend, least):
    ways = shift.ways_out(bone, bend, least)
    room = (1 - least) * bone.width_mm
    if ways.highest_cut_mm is None:
        assert shift.neck_base_shift_mm(bone.cut_mm, bend) <= room + 1e-6
        return
    assert ways.highest_cut_mm < bone.cut_mm and ways.most_correction_deg < bend
    assert shift.neck_base_shift_mm(ways.highest_cut_mm, bend) == pytest.approx(room)
    assert shift.neck_base_shift_mm(bone.cut_mm, ways.most_correction_deg) == pytest.approx(room)
    assert shift.neck_base_shift_mm(bone.cut_mm, bend) / ways.steps <= room + 1e-6


@given(st.floats(40, 150), st.floats(5, 60), st.floats(8, 80))
def test_valgus_gains_what_the_same_varus_loses(angle, change, neck):
    after = min(angle + change, 179)
    gained = length_gained_mm(angle, after, neck)
    assert gained == pytest.approx(-length_gained_mm(after, angle, neck))
    assert gained > 0


@given(st.floats(20, 179), st.floats(6, 50), st.floats(0, 30))
def test_the_cut_lies_below_the_crossing_and_below_the_implant(angle, width, below):
    cut = shift.cut_below_crossing_mm(NeckAngles(angle, 0), width, below)
    assert math.isfinite(cut) and below <= cut <= below + width + 1e-9


@given(necks, st.floats(120, 500), st.floats(8, 80))
def test_the_knee_lies_at_the_far_end_of_the_bone(before, bone_mm, neck_mm):
    knee = shift.knee_below_crossing_mm(bone_mm, before, neck_mm)
    lean = math.radians(180 - before.neck_shaft_deg)
    assert math.hypot(neck_mm * math.sin(lean), knee + neck_mm * math.cos(lean)) == pytest.approx(bone_mm)


def test_a_neck_longer_than_the_bone_is_refused():
    with pytest.raises(ValueError, match="longer"):
        shift.knee_below_crossing_mm(40, NeckAngles(175, 0), 80)


@given(st.floats(6, 50), st.floats(0.1, 20))
def test_up_to_20_degrees_all_wedges_agree_within_7_percent(width, angle):
    forms = [f(width, angle) for f in (shift.wedge_base_mm, shift.symmetrical_wedge_mm, shift.chord_mm, shift.arc_mm)]
    assert max(forms) / min(forms) < 1.07
