"""The timeline: stages in lanes above an age axis, the leg difference below it, in any size."""

from __future__ import annotations

import itertools
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathway.days import add_months
from pathway.plan.model import Plan
from pathway.views.pictures.curve import curve
from pathway.views.pictures.lanes import draw_lanes
from pathway.views.pictures.picture import Axis, Picture, Role, stage_role
from pathway.views.pictures.short_names import LANES
from pathway.views.pictures.timeline import (
    GUTTER,
    curve_axis,
    curve_picture,
    growth_chart,
    legend,
    timeline,
    timeline_ages,
)
from pathway.views.words.plan import STATUS_MARKS
from pathway.views.words.roads import is_the_road
from pathway.views.words.sides import in_brackets, side_words
from tests.offenders import for_each
from tests.plans import files, plan, rules

SIZES = [(80, 10), (120, 14), (200, 20)]
GOAL_MM = (0.0, rules().number("goal_band_mm"))


def drawn(of: Plan, width: int = 120, chart_rows: int = 24, **wishes: object) -> Picture:
    return timeline(of, width, chart_rows, *timeline_ages(of), goal_mm=GOAL_MM, **wishes)  # type: ignore[arg-type]


def with_statuses(of: Plan) -> Plan:
    """Return the plan with every status on one of its dated stages."""
    stages = list(of.stages)
    dated = [index for index, stage in enumerate(stages) if stage.date is not None]
    for index, status in zip(dated, STATUS_MARKS, strict=False):
        stages[index] = stages[index].model_copy(update={"status": status})
    return of.model_copy(update={"stages": tuple(stages)})


@for_each(itertools.product(files(), SIZES))
def test_every_span_lies_inside_and_none_over_another(child, size) -> None:
    picture = drawn(plan(child), *size)
    height = picture.height
    seen: set[tuple[int, int]] = set()
    for span in picture.spans:
        cells = {(span.row, span.column + offset) for offset in range(len(span.text))}
        assert not cells & seen
        seen |= cells
    assert all(0 <= row < height and 0 <= column < size[0] for row, column in seen)


@settings(max_examples=60, deadline=None)
@given(
    child=st.sampled_from(sorted(files())),
    width=st.integers(60, 260),
    height=st.integers(0, 40),
    start=st.floats(0, 12),
    years=st.floats(0.5, 18),
    moved=st.lists(st.integers(-30, 120), max_size=12),
)
def test_any_plan_stays_within_its_width_and_height(child, width, height, start, years, moved) -> None:
    of = plan(child)
    stages = list(of.stages)
    for index, months in enumerate(moved[: len(stages)]):
        if (day := stages[index].date) is not None:
            stages[index] = stages[index].model_copy(
                update={"date": add_months(day, months), "end_date": add_months(day, months + abs(months))}
            )
    picture = timeline(of.model_copy(update={"stages": tuple(stages)}), width, height, start, start + years)
    lines = picture.text.split("\n")
    assert len(lines) == picture.height > height
    assert max(len(line) for line in lines) <= width


def test_all_marks_of_status_can_be_read_without_colour() -> None:
    text = drawn(with_statuses(plan("rowan-02"))).text
    assert all(mark in text for mark in STATUS_MARKS.values())
    assert all(word in text for word in ("done", "under way", "ready", "later", "blocked", "optional"))


def test_a_bar_lies_over_its_time_on_the_axis() -> None:
    of = plan("rowan-02")
    picture = drawn(of)
    axis = draw_lanes(of, 120, *timeline_ages(of)).columns.axis
    for stage in of.stages:
        if stage.age_years is not None and stage.operation:
            bars = [s for s in picture.spans if s.target == stage.id and s.role == stage_role(stage.status)]
            assert axis.column(stage.age_years) in {bar.column for bar in bars}


def test_lanes_without_stages_take_no_room() -> None:
    of = plan("alder-06")
    shown = {span.text.strip() for span in drawn(of).spans if span.role is Role.LANE_LABEL}
    lanes = {LANES[stage.lane] for stage in of.stages if stage.date is not None}
    assert shown - {"If", "Ways", "At maturity, steps set anew"} == lanes


def test_a_lengthening_is_a_step_in_the_curve() -> None:
    of = plan("rowan-02")
    line = curve(of)
    assert line is not None
    for age in line.steps:
        before, after = line.with_plan(age - 0.001).p50, line.with_plan(age).p50
        assert before - after > 30
        assert abs(line.with_plan(age - 0.1).p50 - before) < 3


def test_a_step_is_drawn_upright() -> None:
    of = plan("rowan-02")
    line, picture = curve(of), drawn(of)
    assert line is not None
    axis = draw_lanes(of, 120, *timeline_ages(of)).columns.axis
    for age in line.steps:
        near = range(axis.column(age) - 1, axis.column(age) + 2)
        rows = {s.row for s in picture.spans if s.role is Role.MEDIAN and s.text.strip() and s.column in near}
        assert len(rows) >= 4


def test_the_curve_says_its_ends_in_words() -> None:
    of = plan("rowan-02")
    last = of.growth.by_age[-1]
    axis = curve_axis(99, *timeline_ages(of))
    text = curve_picture(of, axis, 99, 20).text
    assert f"without further operations {last.discrepancy_mm.p50 / 10:.1f} cm shorter" in text
    assert re.search(r"with the plan (equal|\d+\.\d cm (longer|shorter))", text)


def test_the_picture_in_words_has_the_range_that_the_course_is_told_with() -> None:
    of = plan("rowan-02")
    assert of.recommended is not None
    left = of.recommended.residual_mm
    assert left is not None
    told = f"set anew at every visit: {side_words(left.p50)}, about 90 of 100 between"
    assert f"{told} {in_brackets(left.p05, left.p95)} cm." in drawn(of).alt


def test_a_grown_child_sees_the_gains_of_its_operations() -> None:
    """Both lengthenings come after growth has ended: the line falls twice, and each fall is as high as its amount."""
    of = plan("elder-15")
    chart = growth_chart(of, 120, 30)
    assert chart is not None
    assert of.recommended is not None
    axis = Axis(*timeline_ages(of), GUTTER, 119)
    amounts = {s.age_years: s.amount_mm for s in of.recommended.stages if s.amount_mm}
    assert len(amounts) == 2
    falls = {}
    for age in amounts:
        near = range(axis.column(age) - 1, axis.column(age) + 2)
        rows = {s.row for s in chart.spans if s.role is Role.MEDIAN and s.text.strip() and s.column in near}
        falls[age] = max(rows) - min(rows)
    first, second = amounts
    assert falls[first] / falls[second] == pytest.approx(amounts[first] / amounts[second], rel=0.2)


def test_bands_are_grounds_in_colour_and_shades_without() -> None:
    of = plan("rowan-02")
    axis = curve_axis(99, *timeline_ages(of))
    grounds = {span.ground for span in curve_picture(of, axis, 99, 20).spans}
    assert {Role.BAND50, Role.BAND90} <= grounds
    shaded = curve_picture(of, axis, 99, 20, shaded=True)
    assert {span.ground for span in shaded.spans} == {None}
    assert "░" in shaded.text
    assert "▒" in shaded.text


def test_measured_points_the_goal_and_today_are_drawn() -> None:
    of = plan("hazel-08")
    picture = drawn(of)
    roles = [span.role for span in picture.spans]
    legend = 1
    assert sum(span.text.count("■") for span in picture.spans) == len(of.growth.measured) + legend
    assert Role.GOAL in roles
    assert "today" in picture.text


def test_the_goal_is_a_band_with_its_value() -> None:
    of = plan("rowan-02")
    picture = drawn(of, chart_rows=40)
    rows = {span.row for span in picture.spans if span.role is Role.GOAL and "┈" in span.text}
    assert len(rows) >= 2
    assert f"goal 0 to {GOAL_MM[1] / 10:g} cm" in picture.text


def test_the_curve_names_what_is_longer_in_words_and_has_no_signs() -> None:
    of = plan("rowan-02")
    picture = curve_picture(of, curve_axis(99, *timeline_ages(of)), 99, 40)
    labels = [span.text.strip() for span in picture.spans if span.role is Role.AXIS and span.column < GUTTER]
    assert any(label.endswith("longer") for label in labels)
    assert any(label.endswith("shorter") for label in labels)
    assert not any(label.startswith("-") for label in labels)


def test_the_past_is_left_out_of_the_ages_where_it_is_folded() -> None:
    of = plan("hazel-08")
    with_past, without = timeline_ages(of), timeline_ages(of, past=False)
    assert with_past[0] < without[0] < of.child.age_years
    assert with_past[1] == without[1]


@for_each(itertools.product(files(), (80, 120, 200)))
def test_the_legend_says_every_mark_that_is_drawn(child, width) -> None:
    of = plan(child)
    text = legend(of, width, GOAL_MM).text
    assert all(STATUS_MARKS[stage.status] in text for stage in of.stages)
    assert max(len(line) for line in text.split("\n")) <= width
    picture = drawn(of, width).text
    assert all(
        words in text for mark, words in (("┃", "last day"), ("░", "allowed"), ("†", "not chosen")) if mark in picture
    )


def test_without_a_curve_the_picture_says_so() -> None:
    of = plan("elm-01")
    assert of.growth.at_maturity is None
    picture = drawn(of, 80, 15)
    assert "No growth projection" in picture.text
    assert "No growth projection" in picture.alt
    assert Role.MEDIAN not in {span.role for span in picture.spans}


@pytest.mark.parametrize("child", files())
def test_the_alternative_in_words_names_every_stage_and_date(child) -> None:
    of = plan(child)
    alt = drawn(of).alt
    for stage in of.stages:
        assert is_the_road(stage) or stage.label in alt
        assert str(stage.date) in alt if stage.date else "no date" in alt


def test_ages_must_ascend() -> None:
    with pytest.raises(ValueError, match="ascend"):
        timeline(plan("rowan-02"), 80, 10, 5.0, 5.0)
