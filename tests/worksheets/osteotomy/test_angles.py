"""The angle on the film and the angle in the bone."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from pathway.worksheets.osteotomy import angles
from pathway.worksheets.osteotomy.frames import NeckAngles, neck_axis
from tests.worksheets.osteotomy.strategies import neck_shaft, necks, sides

flexions, rotations = st.floats(0, 75), st.floats(-60, 60)


@given(neck_shaft, sides)
def test_without_version_and_flexion_the_film_shows_the_true_angle(angle, side):
    assert angles.apparent_deg(NeckAngles(angle, 0), side=side) == pytest.approx(angle, abs=1e-9)
    assert angles.true_deg(angle, 0) == pytest.approx(angle, abs=1e-9)


@given(necks, rotations, flexions, sides)
def test_the_film_is_a_projection_of_the_turned_vector(neck, turned, flexed, side):
    mirror = 1 if side == "left" else -1
    turn = Rotation.from_euler("zx", [mirror * turned, flexed], degrees=True)
    x, _, z = turn.apply(neck_axis(neck, side))
    shadow = Rotation.align_vectors([[0, 0, 1]], [[abs(x), 0, z]])[0].magnitude() if abs(x) + abs(z) > 1e-3 else None
    if shadow is not None:
        shown = angles.apparent_deg(neck, turned, flexed, side)
        assert shown == pytest.approx(180 - shadow * 180 / 3.141592653589793, abs=1e-4)


@given(neck_shaft, st.floats(-50, 50), st.floats(-30, 30), st.floats(0, 60), sides)
def test_the_true_angle_comes_back_from_the_film(angle, version, turned, flexed, side):
    shown = angles.apparent_deg(NeckAngles(angle, version), turned, flexed, side)
    assert angles.true_deg(shown, version, turned, flexed) == pytest.approx(angle, abs=1e-6)


@given(st.floats(90, 179), st.floats(-80, 80))
def test_an_unflexed_film_never_shows_less_than_the_true_angle_above_90(angle, version):
    assert angles.apparent_deg(NeckAngles(angle, version)) >= angle - 1e-9


@pytest.mark.parametrize(("version", "turned", "flexed"), [(60, 30, 0), (-60, -40, 0), (0, 0, 90)])
def test_a_neck_or_thigh_seen_end_on_has_no_true_angle(version, turned, flexed):
    with pytest.raises(angles.NotShown):
        angles.true_deg(120, version, turned, flexed)
