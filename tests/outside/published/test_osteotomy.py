"""Published worked examples and computed vectors of the upper femur's geometry, within their printed rounding."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest

from pathway.courses.hip_gain import length_gained_mm
from pathway.worksheets.osteotomy import angles, correction, implant, shift
from pathway.worksheets.osteotomy.correction import Steps
from pathway.worksheets.osteotomy.frames import NeckAngles
from pathway.worksheets.osteotomy.shift import Femur

DATA = tomllib.loads((Path(__file__).parent / "osteotomy.toml").read_text())
SIDES = ("left", "right")


def film_errors(given):
    neck = NeckAngles(given["neck_shaft_deg"], given["version_deg"])
    turned = np.arange(-60, 61, 10)
    return np.array([abs(angles.apparent_deg(neck, float(angle)) - neck.neck_shaft_deg) for angle in turned])


def single_cut(given):
    return correction.one_cut(
        correction.turn_of(Steps(given["angulation_deg"], 0, given["torsion_deg"]), "left"), "left"
    )


def wedges(form):
    def of(given):
        bases = [form(given["width_mm"], angle) for angle in range(5, 91, 5)]
        return [float(np.median(bases)), float(np.std(bases, ddof=1))]

    return of


METHODS = {
    "graphical_deg": lambda given: correction.one_plane(**given).graphical_deg,
    "exact_deg": lambda given: correction.one_plane(**given).exact_deg,
    "plane_deg": lambda given: correction.one_plane(**given).plane_deg,
    "cut_tilt_deg": lambda given: single_cut(given).tilt_deg,
    "cut_turned_deg": lambda given: single_cut(given).rises_deg - 90,
    "chord_mm": wedges(shift.chord_mm),
    "arc_mm": wedges(shift.arc_mm),
    "symmetrical_wedge_mm": wedges(shift.symmetrical_wedge_mm),
    "neck_shaft_after": lambda given: implant.neck_shaft_after(**given),
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


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("row", DATA["turned"], ids=lambda row: f"{row['before_deg']}")
def test_a_turn_changes_angle_and_version_as_the_vectors_say(row, side):
    turn = correction.turn_of(Steps(row["valgus_deg"], row["extension_deg"], 0), side)
    after = correction.turned(NeckAngles(*row["before_deg"]), turn, side)
    assert [after.neck_shaft_deg, after.version_deg] == pytest.approx(row["after_deg"], abs=0.051)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("row", DATA["shift"], ids=lambda row: f"{row['inputs']}")
def test_shift_axes_and_gain_are_those_of_the_table(row, side):
    angle, neck, cut, knee, change = row["inputs"]
    before, bone = NeckAngles(angle, 0), Femur(neck, cut, knee, 20)
    turn = correction.turn_of(Steps(change, 0, 0), side)
    base = shift.neck_base_on_axis(before, turn, bone, side)
    aimed = shift.with_axis_angle(before, turn, bone, side, 6)
    found = {
        "before": shift.axis_before_deg(before, bone, side),
        "unmoved": shift.unmoved(before, turn, bone, side).axis_deg,
        "shift": base.lateral_mm,
        "then": base.axis_deg,
        "gain": base.gain_mm,
        "shift for 6": aimed.lateral_mm,
        "gain for 6": aimed.gain_mm,
    }
    expected = dict(zip(found, row["expected"], strict=True))
    expected |= {name: value for name, value in row.get("unlike", {}).items() if name in found}
    places = {"before": 0.0051, "unmoved": 0.0051, "then": 0.0051}
    for name, value in found.items():
        assert value == pytest.approx(expected[name], abs=places.get(name, 0.051)), name


def test_a_turn_about_the_crossing_gains_what_the_vectors_say():
    for row in DATA["gain"]:
        for after, gain in zip(row["after_deg"], row["gain_mm"], strict=True):
            assert length_gained_mm(100, after, 35) == pytest.approx(gain, abs=0.051)


def test_wedges_of_a_childs_bone_are_those_of_the_table():
    for row in DATA["wedge"]:
        for angle, bases in zip(row["degrees"], row["base_mm"], strict=True):
            found = [shift.wedge_base_mm(width, angle) for width in row["width_mm"]]
            assert found == pytest.approx(bases, abs=0.051)


def test_exact_and_graphical_angle_differ_as_printed():
    for row in DATA["planes"]:
        for (front, side), difference in zip(row["front_side_deg"], row["difference_deg"], strict=True):
            plane = correction.one_plane(front, side)
            assert plane.graphical_deg - plane.exact_deg == pytest.approx(difference, abs=0.051)
