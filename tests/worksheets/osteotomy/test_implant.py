"""Implant, wire, blade and slot. The check values without a citation are common practice."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from pathway.protocol.model import Implant
from pathway.worksheets.osteotomy import correction, implant
from pathway.worksheets.osteotomy.correction import Steps
from pathway.worksheets.osteotomy.frames import NeckAngles
from tests.worksheets.osteotomy.strategies import sides


def plate(angle_deg, *lengths_mm):
    return Implant(
        id=f"plate_{angle_deg:g}",
        label=f"plate {angle_deg:g}",
        design="blade_plate",
        angle_deg=angle_deg,
        lengths_mm=lengths_mm or (25,),
        because="test",
        provenance="practice",
        sources=("common_practice",),
    )


@pytest.mark.parametrize("angle", [90, 120, 130, 140])
def test_a_wire_along_the_neck_makes_the_implants_angle_the_neck_shaft_angle(angle):
    assert implant.neck_shaft_after(angle) == angle


@pytest.mark.parametrize("off", [-30, -10, -5, 0, 5, 10, 30])
def test_a_wire_n_degrees_off_changes_the_result_by_n(off):
    assert implant.neck_shaft_after(130, off) == 130 + off


def test_120_instead_of_130_at_the_table_takes_10_degrees_of_valgus_away():
    assert implant.neck_shaft_after(120, 5) - implant.neck_shaft_after(130, 5) == -10


@given(st.floats(60, 150), st.floats(-30, 30), st.floats(-30, 30))
def test_a_wire_off_in_both_planes_is_the_angle_between_two_vectors(angle, front, side):
    lean = math.radians(180 - angle - front)
    axis = np.array([math.cos(lean), 0, -math.sin(lean)])  # square to the neck, in the plane of the plate
    x, y, z = Rotation.from_rotvec(axis * side, degrees=True).apply([math.sin(lean), 0, math.cos(lean)])
    expected = 180 - math.degrees(math.atan2(math.hypot(x, y), z))
    assert implant.neck_shaft_after(angle, front, side) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(("correction_deg", "angle", "wire"), [(-20, 90, 110), (40, 130, 90)])
def test_wire_and_shaft_stand_at_the_implants_angle_less_the_correction(correction_deg, angle, wire):
    # Varus 130 -> 110 with 90: wire at 110 to the shaft; valgus 90 -> 130 with 130: at 90 (computed vectors).
    assert implant.wire_to_shaft_deg(angle, correction_deg) == wire


def test_offsets_are_steps_to_both_sides_and_the_triangle():
    assert implant.offsets(5, 10, 30) == (-30, -10, -5, 0, 5, 10, 30)
    assert implant.offsets(7, 0, 30) == (-30, 0, 30)


def test_the_best_choice_stands_first_and_the_least_offset_breaks_a_tie():
    offered = implant.choices([plate(90), plate(120), plate(130)], (-5, 0, 5), 130, 40, 10)
    assert [(c.implant.angle_deg, c.offset_deg) for c in offered[:3]] == [(130, 0), (130, -5), (130, 5)]
    tied = implant.choices([plate(110), plate(120)], (5, 15), 125, 40, 10)
    assert [(c.implant.angle_deg, c.offset_deg) for c in tied[:2]] == [(120, 5), (110, 15)]
    assert {c.neck_shaft_deg for c in offered} == {85, 90, 95, 115, 120, 125, 130, 135}


@pytest.mark.parametrize(("neck_mm", "fits"), [(35, 25), (40, 25), (34, None), (42, 32)])
def test_a_neck_of_35_to_40_takes_the_blade_of_25_and_a_longer_one_is_refused(neck_mm, fits):
    assert implant.fitting_length_mm((25, 32, 38), neck_mm, 10) == fits


def test_an_implant_whose_blades_are_all_too_long_comes_last():
    offered = implant.choices([plate(130, 40), plate(120, 25)], (0,), 130, 36, 10)
    assert [(c.implant.angle_deg, c.length_mm) for c in offered] == [(120, 25), (130, None)]


@given(st.floats(-60, 60), st.floats(-80, 80), sides)
def test_a_slot_set_n_degrees_gives_n_degrees_of_extension(back, rotation, side):
    for before, valgus in ((NeckAngles(100, 0), 30.0), (NeckAngles(140, 0), -20.0)):
        turn = correction.turn_of(Steps(valgus, back, rotation), side)
        assert implant.slot_of(before, turn, side).out_of_plane_deg == pytest.approx(back, abs=1e-6)


def test_a_slot_set_20_gives_20_of_extension_and_on_a_right_angled_blade_it_is_the_turn_of_the_chisel():
    turn = correction.turn_of(Steps(0, 20, 0), "left")
    slot = implant.slot_of(NeckAngles(90, 0), turn, "left")
    assert (slot.out_of_plane_deg, slot.about_blade_deg) == pytest.approx((20, 20))


@given(st.floats(60, 150), st.floats(-30, 30), st.floats(-40, 40), st.floats(-60, 60))
def test_the_slot_is_the_same_on_both_sides(angle, version, valgus, back):
    before = NeckAngles(angle, version)
    left, right = (
        implant.slot_of(before, correction.turn_of(Steps(valgus, back, 10, version), side), side)
        for side in ("left", "right")
    )
    assert left.out_of_plane_deg == pytest.approx(right.out_of_plane_deg, abs=1e-6)
    # Half a turn one way is half a turn the other way.
    apart = (left.about_blade_deg - right.about_blade_deg + 180) % 360 - 180
    assert apart == pytest.approx(0, abs=1e-6)


@given(st.floats(60, 150), st.floats(-30, 30), st.floats(-40, 40), st.floats(-60, 60))
def test_the_chisel_turned_by_the_slots_angle_brings_the_plate_into_the_new_shaft(angle, version, valgus, back):
    from pathway.worksheets.osteotomy.frames import medial, neck_axis

    before, side = NeckAngles(angle, version), "left"
    turn = correction.turn_of(Steps(valgus, back, 0, version), side)
    slot = implant.slot_of(before, turn, side)
    neck = neck_axis(before, side)
    after = correction.turned(before, turn, side).neck_shaft_deg
    # A plate at the new angle to the neck, first in the plane of neck and old shaft, then turned about the neck.
    across = -neck[2] * neck + [0, 0, 1]
    out = -across / (across @ across) ** 0.5
    flat = neck * math.cos(math.radians(after)) + out * math.sin(math.radians(after))
    plate_line = Rotation.from_rotvec(-medial(side) * neck * slot.about_blade_deg, degrees=True).apply(flat)
    assert plate_line == pytest.approx(turn.T @ [0, 0, -1], abs=1e-6)
