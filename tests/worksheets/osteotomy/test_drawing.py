"""The schematic: the sheet's numbers as outlines, as SVG and as characters."""

from __future__ import annotations

import math
from xml.etree import ElementTree

import pytest

from pathway.views.drawings.schematic import characters, svg
from tests.worksheets.osteotomy.sheets import sheet

SVG = "{http://www.w3.org/2000/svg}"


def drawing(side="left", **settings):
    (made,) = sheet(side, **settings).drawings
    return made


def words(made):
    return [mark.text for mark in made.marks]


def test_it_names_side_angles_cut_wedge_shift_and_contact():
    made = drawing(cut_below_crossing_mm=30)
    found = " | ".join(words(made))
    for word in ("LEFT HIP", "90°", "125°", "cut 30 mm", "wedge 7 mm", "shift 17 mm lateral", "contact left 14 %"):
        assert word in found, found


def test_the_angles_drawn_are_the_angles_of_the_sheet():
    made = drawing()
    shaft, neck = (shape.points for shape in made.shapes[2:4])
    assert [shape.role for shape in made.shapes[2:4]] == ["axis", "axis"]
    down, along = (
        (points[k][0] - points[1 - k][0], points[k][1] - points[1 - k][1]) for points, k in ((shaft, 0), (neck, 1))
    )
    cosine = (down[0] * along[0] + down[1] * along[1]) / (math.hypot(*down) * math.hypot(*along))
    assert math.degrees(math.acos(cosine)) == pytest.approx(90, abs=0.01)


def test_the_right_is_drawn_as_the_mirror_image_of_the_left():
    left, right = drawing("left"), drawing("right")
    now_left, now_right = left.shapes[0].points, right.shapes[0].points
    assert [(-x, y) for x, y in now_left] == list(now_right)


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("columns", [60, 80, 120])
def test_the_characters_fit_and_hold_every_word(side, columns):
    made = drawing(side)
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
    said = drawing(cut_below_crossing_mm=30).alternative
    for word in ("left hip", "90 deg", "125", "30 mm below", "17 mm lateral", "20 mm wide"):
        assert word in said
