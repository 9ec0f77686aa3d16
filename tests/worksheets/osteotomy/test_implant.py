"""Lengths at hand and wires tried."""

from __future__ import annotations

from pathway.worksheets.osteotomy import implant


def test_offsets_are_steps_to_both_sides_and_the_triangle():
    assert implant.offsets(5, 10, 30) == (-30, -10, -5, 0, 5, 10, 30)
    assert implant.offsets(7, 0, 30) == (-30, 0, 30)


def test_the_longest_blade_that_the_bone_takes_is_chosen_and_none_that_is_longer():
    assert implant.fitting_length_mm((25, 32, 38), 35) == 32
    assert implant.fitting_length_mm((25, 32), 32) == 32
    assert implant.fitting_length_mm((25,), 24.9) is None
