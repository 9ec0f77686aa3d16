"""Steps, the one rotation they make, one cut."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from pathway.worksheets.osteotomy import correction
from pathway.worksheets.osteotomy.correction import Steps
from pathway.worksheets.osteotomy.frames import NeckAngles, between_deg, neck_axis
from tests.worksheets.osteotomy.strategies import necks, sides, turns, versions

targets = st.builds(NeckAngles, st.floats(80, 160), st.floats(-30, 60))
steps = st.builds(Steps, turns, turns, turns, versions)


@given(steps, sides)
def test_a_correction_followed_by_its_inverse_is_the_identity(taken, side):
    there = correction.turn_of(taken, side)
    opposite = Steps(-taken.valgus_deg, -taken.extension_deg, -taken.rotation_deg, taken.plane_deg)
    back = correction.turn_of(opposite, side, ("rotation", "extension", "valgus"))
    assert back @ there == pytest.approx(np.eye(3), abs=1e-12)


@given(steps)
def test_the_steps_are_scipys_turns_about_axes_that_stay(taken):
    plane = Rotation.from_euler("z", taken.plane_deg, degrees=True)
    axis = plane.apply([0, -1, 0])
    first = Rotation.from_rotvec(axis * taken.valgus_deg, degrees=True)
    rest = Rotation.from_euler("xz", [taken.extension_deg, taken.rotation_deg], degrees=True)
    assert correction.turn_of(taken, "left") == pytest.approx((rest * first).as_matrix(), abs=1e-12)


@given(necks, targets, st.floats(-60, 90), sides)
@example(NeckAngles(90, 0), NeckAngles(125, 14), 90, "left")
def test_the_steps_lead_to_the_wanted_neck_or_say_that_they_do_not(before, wanted, back, side):
    found = correction.steps_to(before, wanted, back, side)
    assert all(map(math.isfinite, (found.steps.valgus_deg, found.steps.rotation_deg, found.after.neck_shaft_deg)))
    assert found.after.version_deg == pytest.approx(wanted.version_deg, abs=1e-6)
    assert (abs(found.after.neck_shaft_deg - wanted.neck_shaft_deg) < 1e-4) == found.reached


@given(necks, targets, st.floats(-60, 60))
def test_both_sides_need_the_same_steps(before, wanted, back):
    left, right = (correction.steps_to(before, wanted, back, side) for side in ("left", "right"))
    for name in ("valgus_deg", "extension_deg", "rotation_deg"):
        assert getattr(left.steps, name) == pytest.approx(getattr(right.steps, name), abs=1e-9)


@given(necks, targets, sides)
def test_without_extension_valgus_and_rotation_are_plain_differences(before, wanted, side):
    taken = correction.steps_to(before, wanted, 0.0, side).steps
    assert taken.valgus_deg == pytest.approx(wanted.neck_shaft_deg - before.neck_shaft_deg, abs=1e-6)
    assert taken.rotation_deg == pytest.approx(wanted.version_deg - before.version_deg, abs=1e-6)


def test_an_angle_out_of_reach_is_said_and_the_nearest_given():
    found = correction.steps_to(NeckAngles(80, 0), NeckAngles(150, 0), 60, "left")
    assert not found.reached
    assert found.after.neck_shaft_deg == pytest.approx(120)


@given(steps, sides)
def test_turning_the_pieces_on_the_one_cut_makes_the_whole_correction(taken, side):
    turn = correction.turn_of(taken, side)
    cut = correction.one_cut(turn, side)
    assume(cut is not None and cut.turn_deg > 0.1)
    medial = 1 if side == "left" else -1
    lean, rises = math.radians(cut.tilt_deg), math.radians(cut.rises_deg)
    # A plane that rises towards a direction leans its normal the other way.
    normal = np.array([-medial * math.sin(lean) * math.cos(rises), -math.sin(lean) * math.sin(rises), math.cos(lean)])
    ways = [Rotation.from_rotvec(normal * way * cut.turn_deg, degrees=True).as_matrix() for way in (1, -1)]
    assert min(between_deg(turn, way) for way in ways) == pytest.approx(0, abs=1e-4)


@given(st.floats(1, 80), st.floats(1, 80))
def test_the_one_cut_leans_by_the_closed_formula(angulation, torsion):
    cut = correction.one_cut(correction.turn_of(Steps(angulation, 0, torsion), "left"), "left")
    lean = math.atan(math.tan(math.radians(angulation / 2)) / math.sin(math.radians(torsion / 2)))
    assert cut.tilt_deg == pytest.approx(math.degrees(lean), abs=1e-6)
    assert cut.rises_deg == pytest.approx(90 + torsion / 2, abs=1e-6)


@given(st.floats(-60, 60), st.floats(-60, 60))
def test_the_exact_angle_in_one_plane_is_never_more_than_the_graphical(front, side):
    plane = correction.one_plane(front, side)
    assert plane.exact_deg <= plane.graphical_deg + 1e-9


@given(st.floats(-60, 60), st.floats(-60, 60))
def test_a_vector_leaning_in_one_plane_throws_both_shadows(front, side):
    plane = correction.one_plane(front, side)
    axis = Rotation.from_euler("z", plane.plane_deg, degrees=True).apply([0, 1, 0])
    x, y, z = Rotation.from_rotvec(axis * plane.exact_deg, degrees=True).apply([0, 0, 1])
    assert math.degrees(math.atan2(x, z)) == pytest.approx(front, abs=1e-6)
    assert math.degrees(math.atan2(y, z)) == pytest.approx(side, abs=1e-6)


def test_a_film_at_90_degrees_has_no_plane():
    with pytest.raises(ValueError, match="90"):
        correction.one_plane(90, 10)


@given(steps, sides)
def test_the_faces_of_a_cut_stand_apart_by_the_tilt_of_the_shafts_axis(taken, side):
    turn = correction.turn_of(taken, side)
    up = turn @ [0, 0, 1]
    expected = Rotation.align_vectors([[0, 0, 1]], [up])[0].magnitude()
    assert correction.angulation_deg(turn) == pytest.approx(math.degrees(expected), abs=1e-5)


def test_valgus_in_the_plane_of_the_neck_keeps_the_version():
    before = NeckAngles(95, 25)
    after = correction.turned(before, correction.turn_of(Steps(30, 0, 0, 25), "right"), "right")
    assert (after.neck_shaft_deg, after.version_deg) == pytest.approx((125, 25))
    assert neck_axis(after, "right")[0] < 0
