"""Rotations of the thigh bone, against scipy's as the independent library."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from pathway.worksheets.osteotomy import frames
from pathway.worksheets.osteotomy.frames import NeckAngles
from tests.worksheets.osteotomy.strategies import turns

MIRROR = np.diag([-1.0, 1.0, 1.0])


@pytest.mark.parametrize(("side", "medial"), [("left", 1), ("right", -1)])
def test_a_level_neck_points_inward_and_an_anteverted_one_also_forward(side, medial):
    assert frames.neck_axis(NeckAngles(90, 0), side) == pytest.approx([medial, 0, 0])
    assert frames.neck_axis(NeckAngles(90, 90), side) == pytest.approx([0, 1, 0])


@given(turns, turns)
def test_the_right_is_the_mirror_image_of_the_left(back, inward):
    for left, right in (
        (frames.extension(back), frames.extension(back)),
        (frames.inward(inward, "left"), frames.inward(inward, "right")),
    ):
        assert MIRROR @ left @ MIRROR == pytest.approx(right, abs=1e-12)


@given(st.lists(st.floats(-1, 1), min_size=3, max_size=3), st.floats(-360, 360))
def test_a_rotation_about_an_axis_is_scipys(axis, angle):
    size = float(np.linalg.norm(axis))
    unit = np.array(axis) / size if size > 1e-3 else np.array([0.0, 0.0, 1.0])
    expected = Rotation.from_rotvec(unit * angle, degrees=True).as_matrix()
    assert frames.about(unit, angle) == pytest.approx(expected, abs=1e-12)


@given(turns, turns)
def test_extension_and_rotation_are_scipys_turns_about_fixed_axes(back, inward):
    ours = frames.inward(inward, "left") @ frames.extension(back)
    fixed = Rotation.from_euler("xz", [back, inward], degrees=True)  # lower case: axes that stay
    assert ours == pytest.approx(fixed.as_matrix(), abs=1e-12)


@given(st.floats(-180, 180), st.floats(-90, 90), st.floats(-180, 180))
def test_axis_and_angle_are_scipys(one, two, three):
    turn = Rotation.from_euler("ZXY", [one, two, three], degrees=True)
    found = frames.axis_and_angle(turn.as_matrix())
    assert found.angle_deg == pytest.approx(np.degrees(turn.magnitude()), abs=1e-6)
    assert frames.about(np.array(found.axis), found.angle_deg) == pytest.approx(turn.as_matrix(), abs=1e-9)


def test_no_rotation_has_an_axis_and_no_angle():
    assert frames.axis_and_angle(np.eye(3)).angle_deg == 0
    assert frames.axis_and_angle(frames.extension(30)).angle_deg == pytest.approx(30)
