"""Implant, wire and blade in one plane. The check values without a citation are common practice."""

from __future__ import annotations

import pytest

from pathway.protocol.model import Implant
from pathway.worksheets.osteotomy import implant


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
