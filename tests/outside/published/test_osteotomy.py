"""Published worked examples and computed vectors of the upper femur's geometry, within their printed rounding."""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from pathway.courses.hip_gain import length_gained_mm
from pathway.upper_femur.model import Femur, Plan, angles_of, neck_shaft_along, placement, settings_of, solved
from pathway.worksheets.osteotomy import angles, correction, shift
from pathway.worksheets.osteotomy.frames import NeckAngles

DATA = tomllib.loads((Path(__file__).parent / "osteotomy.toml").read_text())
SIDES = ("left", "right")


def film_errors(given):
    neck = NeckAngles(given["neck_shaft_deg"], given["version_deg"])
    turned = np.arange(-60, 61, 10)
    return np.array([abs(angles.apparent_deg(neck, float(angle)) - neck.neck_shaft_deg) for angle in turned])


def single_cut(given):
    turn = Rotation.from_euler("yz", [-given["angulation_deg"], given["torsion_deg"]], degrees=True)
    return correction.one_cut(turn.as_matrix())


def under(given):
    """Return the neck-shaft angle of a plate whose blade lies so far under the axis of a neck in the front plane."""
    bone = femur(120, 34, 240)
    return neck_shaft_along(bone, given["implant_deg"], 120 - given["off_front_deg"], 0)


def femur(angle, neck, length, version=0, width=20):
    return Femur("left", angle, version, 0, "shaft_side", None, neck, width, 17, 14, neck, length)


METHODS = {
    "graphical_deg": lambda given: correction.one_plane(**given).graphical_deg,
    "exact_deg": lambda given: correction.one_plane(**given).exact_deg,
    "plane_deg": lambda given: correction.one_plane(**given).plane_deg,
    "cut_tilt_deg": lambda given: single_cut(given).tilt_deg,
    "cut_turned_deg": lambda given: single_cut(given).rises_deg - 90,
    "neck_shaft_after": under,
    "film_error_mean": lambda given: float(film_errors(given).mean()),
    "film_error_sd": lambda given: float(film_errors(given).std(ddof=1)),
    "film_error_most": lambda given: float(film_errors(given).max()),
    "inclination_deg": lambda given: angles.inclination_deg(NeckAngles(**given)),
}
CASES = DATA["case"]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["id"])
def test_a_worked_example_comes_out_as_printed(case):
    answer = METHODS[case["method"]](case["inputs"])
    assert answer == pytest.approx(case.get("computed", case["printed"]), abs=case["tolerance"])


@pytest.mark.parametrize("case", [case for case in DATA["case"] if "computed" in case], ids=lambda case: case["id"])
def test_where_we_differ_from_the_print_the_reason_stands_beside_it(case):
    assert case["explained"]
    assert case["computed"] != pytest.approx(case["printed"], abs=case["tolerance"])


def test_every_example_has_its_source():
    assert all(case["source"] and case["address"].startswith("https://") for case in DATA["case"])


@pytest.mark.parametrize("row", DATA["film"], ids=lambda row: f"{row['true_deg']}")
def test_the_film_shows_what_the_table_says(row):
    for version, seen in zip(range(0, 61, 10), row["seen_deg"], strict=True):
        for side in SIDES:
            assert angles.apparent_deg(NeckAngles(row["true_deg"], version), side=side) == pytest.approx(
                seen, abs=0.051
            )
        # Turning the leg outward does the same as version.
        assert angles.apparent_deg(NeckAngles(row["true_deg"], 0), version) == pytest.approx(seen, abs=0.051)
        assert angles.true_deg(seen, version) == pytest.approx(row["true_deg"], abs=0.15)


@pytest.mark.parametrize("row", DATA["flexed"], ids=lambda row: f"{row['true_deg']}-{row['version_deg']}")
def test_a_flexed_hip_shows_what_the_vectors_say(row):
    neck = NeckAngles(row["true_deg"], row["version_deg"])
    assert angles.apparent_deg(neck, 0, row["flexed_deg"]) == pytest.approx(row["seen_deg"], abs=0.051)


@pytest.mark.parametrize("row", DATA["turned"], ids=lambda row: f"{row['before_deg']}")
def test_a_turn_in_the_front_plane_changes_angle_and_version_as_the_vectors_say(row):
    angle, version = row["before_deg"]
    after, turned = row["after_deg"]
    bone = femur(angle, 34, 240, version)
    plan = Plan(after, turned, after, 15, 4, blade_mm=0.0)
    found = angles_of(bone, plan, settings_of(bone, plan))
    assert found["valgus_deg"] == pytest.approx(row["valgus_deg"], abs=0.2)
    # The neck's forward part is kept by a turn in the front plane: version follows without any rotation.
    assert found["rotation_deg"] == pytest.approx(0, abs=0.2)


@pytest.mark.parametrize("row", DATA["shift"], ids=lambda row: f"{row['inputs']}")
def test_axes_and_shift_are_those_of_the_table(row):
    angle, neck, cut, knee, change = row["inputs"]
    lean = math.radians(180 - angle)
    bone = femur(angle, neck, math.hypot(neck * math.sin(lean), neck * math.cos(lean) + knee))
    plan = Plan(angle + change, 0, angle + change, neck / 2, 4, blade_mm=0.0)
    at = settings_of(bone, plan)
    below = cut + float(placement(bone, plan, at).corner[2])
    plan = replace(plan, cut_below_corner_mm=below)
    base = shift.other_goals(bone, plan, settings_of(bone, plan), 6)[0]
    assert shift.axes_before_deg(bone) == pytest.approx(row["expected"][0], abs=0.0051)
    assert base.numbers["plate_shift_mm"] == pytest.approx(row["expected"][2], abs=0.051)


def test_a_turn_about_the_crossing_gains_what_the_vectors_say():
    for row in DATA["gain"]:
        for after, gain in zip(row["after_deg"], row["gain_mm"], strict=True):
            assert length_gained_mm(100, after, 35) == pytest.approx(gain, abs=0.051)


def full_wedge(width, angle):
    bone, plan = femur(90, 34, 240, width=width), Plan(90 + angle, 0, 90 + angle, 15, 4, blade_mm=0.0)
    return solved(bone, plan).numbers["wedge_full_mm"]


def test_wedges_of_a_childs_bone_are_those_of_the_table():
    for row in DATA["wedge"]:
        for angle, bases in zip(row["degrees"], row["base_mm"], strict=True):
            found = [full_wedge(width, angle) for width in row["width_mm"]]
            assert found == pytest.approx(bases, abs=0.051)


def test_exact_and_graphical_angle_differ_as_printed():
    for row in DATA["planes"]:
        for (front, side), difference in zip(row["front_side_deg"], row["difference_deg"], strict=True):
            plane = correction.one_plane(front, side)
            assert plane.graphical_deg - plane.exact_deg == pytest.approx(difference, abs=0.051)
