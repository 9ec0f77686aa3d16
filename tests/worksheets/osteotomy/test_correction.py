"""The correction in one plane and by one cut."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from pathway.worksheets.osteotomy import correction
from tests.worksheets.osteotomy.strategies import turns


@given(turns, turns, turns)
def test_turning_the_pieces_on_the_one_cut_makes_the_whole_correction(valgus, back, inward):
    turn = Rotation.from_euler("yxz", [-valgus, back, inward], degrees=True)
    cut = correction.one_cut(turn.as_matrix())
    assume(cut is not None and cut.turn_deg > 0.1)
    lean, rises = math.radians(cut.tilt_deg), math.radians(cut.rises_deg)
    # A plane that rises towards a direction leans its normal the other way.
    normal = np.array([-math.sin(lean) * math.cos(rises), -math.sin(lean) * math.sin(rises), math.cos(lean)])
    ways = [Rotation.from_rotvec(normal * way * cut.turn_deg, degrees=True) for way in (1, -1)]
    assert min(np.degrees((turn.inv() * way).magnitude()) for way in ways) == pytest.approx(0, abs=1e-4)


@given(st.floats(1, 80), st.floats(1, 80))
def test_the_one_cut_leans_by_the_closed_formula(angulation, torsion):
    cut = correction.one_cut(Rotation.from_euler("yz", [-angulation, torsion], degrees=True).as_matrix())
    lean = math.atan(math.tan(math.radians(angulation / 2)) / math.sin(math.radians(torsion / 2)))
    assert cut.tilt_deg == pytest.approx(math.degrees(lean), abs=1e-6)
    assert cut.rises_deg == pytest.approx(90 + torsion / 2, abs=1e-6)


def test_no_turn_needs_no_cut():
    assert correction.one_cut(np.eye(3)) is None


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
