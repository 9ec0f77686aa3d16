"""The drawing of guided growth: angles as measured, the plate at the edge that is named, left the mirror of right."""

from __future__ import annotations

import math

import pytest

from pathway.protocol.question import Question
from pathway.views.drawings.schematic import characters, svg
from pathway.worksheets import guided_growth
from pathway.worksheets.case import case_of
from pathway.worksheets.sheet import Drawing, Shape
from tests.examples import ON, example
from tests.worksheets.cases import growth_of, mirrored, protocol, sheet

Point = tuple[float, float]


def drawn(**settings: str) -> Drawing:
    return sheet("guided-growth", {"width_mm": "40", "measured_deg": "78", **settings}).drawings[0]


def of_role(drawing: Drawing, role: str) -> list[Shape]:
    return [shape for shape in drawing.shapes if shape.role == role]


def angle_between(upright: tuple[Point, ...], joint: tuple[Point, ...]) -> float:
    """Return the angle (deg) of the joint line's viewer-right half to the upright axis, from its joint end."""
    (x0, y0), (x1, y1) = upright
    (a0, b0), (a1, b1) = joint
    ux, uy, jx, jy = x1 - x0, y1 - y0, a1 - a0, b1 - b0
    return math.degrees(math.acos((ux * jx + uy * jy) / (math.hypot(ux, uy) * math.hypot(jx, jy))))


@pytest.mark.parametrize(
    ("physis", "measured"), [("distal_femur", 78.0), ("distal_femur", 97.0), ("proximal_tibia", 96.0)]
)
def test_the_joint_line_stands_at_the_angle_measured_and_at_the_target(physis: str, measured: float) -> None:
    drawing = drawn(physis=physis, measured_deg=str(measured))
    axes = of_role(drawing, "axis")
    for upright, joint, wanted in ((axes[0], axes[1], measured), (axes[2], axes[3], 88.0)):
        found = angle_between(upright.points, joint.points)
        # A femur is measured on its lateral side (first to second point), a tibia on its medial one.
        assert found == pytest.approx(wanted if physis == "distal_femur" else 180 - wanted, abs=0.01)


@pytest.mark.parametrize(
    ("physis", "measured", "edge"),
    [
        ("distal_femur", "78", "medial"),
        ("distal_femur", "98", "lateral"),
        ("proximal_tibia", "97", "medial"),
        ("proximal_tibia", "78", "lateral"),
    ],
)
def test_the_plate_lies_at_the_edge_that_the_warning_names(physis: str, measured: str, edge: str) -> None:
    made = sheet("guided-growth", {"width_mm": "40", "physis": physis, "measured_deg": measured})
    assert any(f"goes on the {edge} side of the knee" in item.text for item in made.warnings)
    drawing = made.drawings[0]
    assert f"on its {edge} side" in drawing.alternative
    # A left knee seen from the front: lateral is to the viewer's right.
    assert made.side == "left"
    across = [x for shape in of_role(drawing, "shift") for x, _ in shape.points]
    assert (max(across) > 20) == (edge == "lateral")
    assert (min(across) < -20) == (edge == "medial")


def test_the_growth_plate_is_drawn_as_wide_as_measured() -> None:
    for shape in of_role(drawn(), "cut"):
        assert math.dist(*shape.points) == pytest.approx(40, abs=0.01)


def test_a_right_knee_is_the_mirror_image_of_a_left_one() -> None:
    other = mirrored(example("rowan-02"))
    case = case_of(Question(other, protocol(), ON), posterior=growth_of(other, ON))
    right = guided_growth.worksheet(case, {"width_mm": "40", "measured_deg": "78"}).drawings[0]
    left = drawn()
    for one, two in zip(left.shapes[:8], right.shapes[:8], strict=True):
        for (x, y), there in zip(one.points, two.points, strict=True):
            assert (-x, y) == pytest.approx(there, abs=1e-6)


def test_words_and_svg_say_the_same() -> None:
    drawing = drawn()
    picture = svg(drawing, "caution")
    for said in ("NOW, LEFT KNEE, FRONT", "AT THE TARGET", "78°", "88°", "plate", "medial", "lateral"):
        assert any(mark.text == said for mark in drawing.marks)
        assert said in picture
    assert drawing.alternative in picture
    assert "plate" in characters(drawing, 78)
