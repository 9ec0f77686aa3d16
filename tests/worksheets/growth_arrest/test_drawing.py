"""The chart of the difference: it ends apart by what the arrest takes, and says what it counts."""

from __future__ import annotations

import re

import pytest

from pathway.views.drawings.schematic import characters, svg
from pathway.worksheets.sheet import Drawing, Shape
from tests.worksheets.cases import sheet
from tests.worksheets.growth_arrest.test_verdicts import boy


def line(drawing: Drawing, role: str) -> Shape:
    return next(shape for shape in drawing.shapes if shape.role == role)


def ends(drawing: Drawing) -> tuple[float, float]:
    """Return the difference at the end without and with the arrest, mm, as told in words."""
    without, closed = re.findall(r"(-?\d+) mm at the end|ends at (-?\d+) mm", drawing.alternative)
    return float(without[0]), float(closed[1])


@pytest.mark.parametrize("mm", ["20", "42.5", "50"])
def test_the_lines_end_apart_by_the_wanted_correction(mm: str) -> None:
    drawing = sheet("growth-arrest", {"correction_mm": mm}).drawings[0]
    without, closed = ends(drawing)
    # Each is rounded to a whole millimetre, the difference is told beside them.
    assert without - closed == pytest.approx(float(mm), abs=1)
    assert f"ends at {closed:.0f} mm, {float(mm):.1f} mm less" in drawing.alternative
    assert any(mark.text.endswith(f", {float(mm):.1f} mm less") for mark in drawing.marks)


def test_before_the_arrest_both_lines_are_one() -> None:
    drawing = sheet("growth-arrest").drawings[0]
    alone, closed, day = line(drawing, "old axis"), line(drawing, "shift"), line(drawing, "cut")
    at = day.points[0][0]
    for one, two in zip(alone.points, closed.points, strict=True):
        if one[0] < at:
            assert one == two
        assert two[1] <= one[1] + 1e-6


def test_a_day_that_is_past_is_drawn_as_today() -> None:
    drawing = boy(15.5, correction_mm="40").drawings[0]
    assert "the wanted day is past: drawn as if done today" in drawing.alternative
    assert line(drawing, "cut").points[0][0] == 0


def test_it_says_that_nothing_else_is_counted_and_is_printed() -> None:
    drawing = sheet("growth-arrest").drawings[0]
    assert "no other operation counted" in drawing.alternative
    assert "Not to scale" in drawing.alternative
    assert drawing.alternative in svg(drawing)
    assert "with arrest" in characters(drawing, 78)
