"""The schematic: the sheet's numbers as outlines, as SVG and as characters."""

from __future__ import annotations

import math
from xml.etree import ElementTree

import pytest

from pathway.views.drawings.schematic import characters, svg
from tests.worksheets.osteotomy.sheets import sheet

SVG = "{http://www.w3.org/2000/svg}"


def drawing(side="left", view=0, **settings):
    return sheet(side, **settings).drawings[view]


def words(made):
    return [mark.text for mark in made.marks]


def axes(made, role="axis"):
    return [shape.points for shape in made.shapes if shape.role == role]


def test_it_names_side_angles_cut_shift_and_contact():
    made = sheet(cut_below_corner_mm=20)
    found = " | ".join(words(made.drawings[0]))
    shift, contact = made.numbers["plate_shift_mm"], made.numbers["contact_share"]
    for word in (
        "LEFT HIP, FRONT",
        "neck-shaft 90°",
        "neck-shaft 125°",
        "cut 20 mm",
        f"shift {abs(shift):.0f} mm",
        f"overlap {100 * contact:.0f} %",
    ):
        assert word in found, found


def test_three_views_are_drawn():
    assert [made.title.split(", ")[1] for made in sheet().drawings] == ["front view", "side view", "along the shaft"]


@pytest.mark.parametrize("version", [0, 30])
def test_the_angles_drawn_are_those_of_the_film(version):
    made = sheet(femoral_version_deg=version)
    shaft, neck = axes(made.drawings[0])[2:4]  # after
    down, along = (
        (points[k][0] - points[1 - k][0], points[k][1] - points[1 - k][1]) for points, k in ((shaft, 0), (neck, 1))
    )
    cosine = (down[0] * along[0] + down[1] * along[1]) / (math.hypot(*down) * math.hypot(*along))
    film = made.numbers["film_neck_shaft_after_deg"]
    assert math.degrees(math.acos(cosine)) == pytest.approx(film, abs=0.02)


def test_the_neck_is_as_long_as_measured_in_two_views():
    made = sheet(femoral_version_deg=30)
    (x, up), (forward, again) = ([b - a for a, b in zip(*axes(made.drawings[view])[1], strict=True)] for view in (0, 1))
    assert up == pytest.approx(again, abs=0.01)
    assert math.hypot(x, up, forward) == pytest.approx(34, abs=0.01)


def test_the_right_is_drawn_as_the_mirror_image_of_the_left():
    left, right = (axes(drawing(side))[1] for side in ("left", "right"))
    ways = [[b - a for a, b in zip(*points, strict=True)] for points in (left, right)]
    assert ways[1] == pytest.approx([-ways[0][0], ways[0][1]], abs=1e-6)


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("columns", [60, 80, 120])
@pytest.mark.parametrize("view", [0, 1, 2])
def test_the_characters_fit_and_hold_every_word(side, columns, view):
    made = drawing(side, view)
    lines = characters(made, columns).split("\n")
    assert max(map(len, lines)) <= columns
    assert len(lines) <= 40
    text = "\n".join(lines)
    assert all(word in text for word in words(made))


def test_the_svg_is_well_formed_keeps_text_as_text_and_speaks():
    made = drawing()
    root = ElementTree.fromstring(svg(made))
    assert root.find(f"{SVG}title").text == made.title
    assert root.find(f"{SVG}desc").text == made.alternative
    assert [text.text for text in root.iter(f"{SVG}text")] == words(made)


def test_the_alternative_says_what_is_to_be_seen():
    said = drawing(cut_below_corner_mm=20).alternative
    for word in ("left hip", "90 deg", "125", "20 mm below", "overlap", "20 mm wide"):
        assert word in said


def test_no_words_lie_on_others_in_the_smallest_terminal():
    for view in range(3):
        for rows in (10, 16):
            text = characters(drawing(view=view), 76, rows)
            assert all(word in text for word in words(drawing(view=view))), text


def test_a_wedge_is_drawn_on_the_bone_that_it_is_taken_from():
    assert "wedge" not in {shape.role for shape in drawing().shapes}
    assert "wedge" in {shape.role for shape in drawing(wedge_mm=5).shapes}


def test_a_plan_that_nothing_reaches_is_not_drawn():
    made = sheet(
        neck_shaft_angle_deg=130, femoral_version_deg=0, proximal_femur_flexion_deg=70, target_neck_shaft_deg=155
    )
    assert made.drawings == ()
