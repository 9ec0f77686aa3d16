"""The ways as small multiples, and the end as a small distribution: the numbers are those of the courses."""

from __future__ import annotations

import pytest

from pathway.views.pictures.ends import INNER, MIDDLE, OUTER, ROWS, draw_ends
from pathway.views.pictures.picture import Canvas
from pathway.views.pictures.ways import ARREST, draw_ways, way_name
from pathway.views.words.expected import cells
from pathway.views.words.sides import in_brackets, side_words
from tests.offenders import for_each
from tests.plans import files, plan

WIDTH = 30


def ways(child: str, rows: int) -> str:
    canvas = Canvas(WIDTH, rows)
    draw_ways(canvas, plan(child), 0, WIDTH, 0, rows)
    return canvas.picture("").text


def end(child: str) -> tuple[int, str]:
    canvas = Canvas(WIDTH, ROWS)
    after = draw_ends(canvas, plan(child), 0, WIDTH, 0, (0.0, 10.0))
    return after, canvas.picture("").text


@for_each(files())
def test_every_way_stands_with_its_operations_where_there_is_room(child) -> None:
    of = plan(child)
    text = ways(child, 60)
    for course in of.alternatives:
        assert way_name(course) in text
        assert cells(course).operations in text or str(course.burden.operations) in text
    assert ("▶" in text) == any(course.recommended for course in of.alternatives)


def test_the_way_of_the_plan_comes_first_and_the_others_are_counted() -> None:
    of = plan("rowan-02")
    lines = ways("rowan-02", 8).split("\n")
    assert of.recommended is not None
    assert lines[1].startswith(f"▶ {way_name(of.recommended)}")
    shown = sum(line.startswith(("▶ ", "  ")) and line[2:3].isdigit() for line in lines)
    assert f"{len(of.alternatives) - shown} more: c" in "\n".join(lines)


def test_an_arrest_in_the_sitting_of_a_lengthening_is_seen_beside_it() -> None:
    text = ways("hazel-08", 12)
    assert f"{ARREST}━" in text


@for_each(files())
def test_the_end_is_the_range_that_the_course_is_told_with(child) -> None:
    course = plan(child).recommended
    after, text = end(child)
    if course is None or course.residual_mm is None:
        assert after == 0
        assert not text.strip()
        return
    spread = course.residual_mm
    assert side_words(spread.p50) in text
    assert in_brackets(spread.p05, spread.p95) in text
    bar = text.split("\n")[1]
    assert bar.count(MIDDLE) >= 1
    assert bar.index(MIDDLE) > min(bar.find(OUTER) % 99, bar.find(INNER) % 99) - 1


@pytest.mark.parametrize("child", ["rowan-02", "hazel-08", "oak-12"])
def test_the_bar_is_as_wide_as_the_range_it_stands_for(child) -> None:
    spread = plan(child).recommended.residual_mm  # type: ignore[union-attr]
    assert spread is not None
    bar = end(child)[1].split("\n")[1]
    inside = sum(glyph in (OUTER, INNER, MIDDLE) for glyph in bar)
    half = sum(glyph in (INNER, MIDDLE) for glyph in bar)
    assert inside > half
    assert half / inside == pytest.approx((spread.p75 - spread.p25) / (spread.p95 - spread.p05), abs=0.15)
