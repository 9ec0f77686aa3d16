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
from pathway.views.pictures.picture import Picture, Role, stage_role
from pathway.views.pictures.short_names import LANES
from pathway.views.pictures.timeline import growth_chart, timeline, timeline_ages, timeline_axis
from pathway.views.words.plan import STATUS_MARKS
from pathway.views.words.roads import is_the_road
from tests.offenders import for_each
from tests.plans import files, plan, rules

SIZES = [(80, 15), (82, 37), (162, 47)]
GOAL_MM = (0.0, rules().number("goal_band_mm"))


def drawn(of: Plan, width: int = 120, height: int = 40, **wishes: object) -> Picture:
    return timeline(of, width, height, *timeline_ages(of), goal_mm=GOAL_MM, **wishes)  # type: ignore[arg-type]


def with_statuses(of: Plan) -> Plan:
    """Return the plan with every status on one of its dated stages."""
    stages = list(of.stages)
    dated = [index for index, stage in enumerate(stages) if stage.date is not None]
    for index, status in zip(dated, STATUS_MARKS, strict=False):
        stages[index] = stages[index].model_copy(update={"status": status})
    return of.model_copy(update={"stages": tuple(stages)})


@for_each(itertools.product(files(), SIZES))
def test_every_stage_stands_in_the_picture_with_its_mark_at_every_size(child, size) -> None:
    of = plan(child)
    picture = drawn(of, *size)
    for stage in of.stages:
        if is_the_road(stage):
            continue
        spans = [span for span in picture.spans if span.target == stage.id and span.role == stage_role(stage.status)]
        assert spans, stage.id
        assert spans[0].text[0] == STATUS_MARKS[stage.status]


@for_each(itertools.product(files(), SIZES))
def test_every_span_lies_inside_and_none_over_another(child, size) -> None:
    picture = drawn(plan(child), *size)
    seen: set[tuple[int, int]] = set()
    for span in picture.spans:
        cells = {(span.row, span.column + offset) for offset in range(len(span.text))}
        assert not cells & seen
        seen |= cells
    assert all(0 <= row < size[1] and 0 <= column < size[0] for row, column in seen)


@settings(max_examples=60, deadline=None)
@given(
    child=st.sampled_from(sorted(files())),
    width=st.integers(20, 260),
    height=st.integers(4, 70),
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
    assert len(lines) == height
    assert max(len(line) for line in lines) <= width


def test_all_marks_of_status_can_be_read_without_colour() -> None:
    text = drawn(with_statuses(plan("rowan-02"))).text
    assert all(mark in text for mark in STATUS_MARKS.values())
    assert all(word in text for word in ("done", "under way", "ready", "later", "blocked", "optional"))


def test_a_bar_lies_over_its_time_on_the_axis() -> None:
    of = plan("rowan-02")
    picture = drawn(of)
    axis = timeline_axis(120, *timeline_ages(of))
    for stage in of.stages:
        if stage.age_years is not None:
            bar = next(s for s in picture.spans if s.target == stage.id and s.role == stage_role(stage.status))
            assert bar.column == axis.column(stage.age_years)


@pytest.mark.parametrize("child", ["rowan-02", "willow-03", "hazel-08"])
def test_names_in_the_lanes_are_whole(child) -> None:
    of = plan(child)
    labels = {stage.id: stage.label for stage in of.stages}
    for span in drawn(of, 80, 15).spans:
        if span.role is Role.LABEL and span.target:
            name = span.text.strip()
            assert labels[span.target].startswith(name.split(", ")[0]) or re.fullmatch(r"-?\d+\.\d cm", name)


def test_lanes_without_stages_take_no_room() -> None:
    of = plan("alder-06")
    shown = {span.text.strip() for span in drawn(of).spans if span.role is Role.LANE_LABEL}
    lanes = {LANES[stage.lane] for stage in of.stages if stage.date is not None}
    assert shown - {"No date yet"} == lanes


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
    axis = timeline_axis(120, *timeline_ages(of))
    for age in line.steps:
        near = range(axis.column(age) - 1, axis.column(age) + 2)
        rows = {s.row for s in picture.spans if s.role is Role.MEDIAN and s.text.strip() and s.column in near}
        assert len(rows) >= 4


def test_the_curve_says_its_ends_in_words() -> None:
    of = plan("rowan-02")
    last = of.growth.by_age[-1]
    text = drawn(of).text
    assert f"without further operations {last.discrepancy_mm.p50 / 10:.1f} cm" in text
    assert "with the plan" in text


def test_the_picture_in_words_has_the_range_that_the_course_is_told_with() -> None:
    of = plan("rowan-02")
    assert of.recommended is not None
    left = of.recommended.residual_mm
    assert left is not None
    told = f"set anew at every visit: {left.p50 / 10:.1f} cm, about 90 of 100 between {left.p05 / 10:.1f} and"
    assert f"{told} {left.p95 / 10:.1f} cm." in drawn(of).alt


def test_a_grown_child_sees_the_gains_of_its_operations() -> None:
    """Both lengthenings come after growth has ended: the line falls twice, and each fall is as high as its amount."""
    of = plan("elder-15")
    chart = growth_chart(of, 120, 30)
    assert chart is not None
    assert of.recommended is not None
    axis = timeline_axis(120, *timeline_ages(of))
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
    grounds = {span.ground for span in drawn(of).spans}
    assert {Role.BAND50, Role.BAND90} <= grounds
    shaded = drawn(of, shaded=True)
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


def test_the_window_of_the_selected_stage_is_drawn_first() -> None:
    of = plan("willow-03")
    stage = "contralateral_growth_arrest"
    cells = {
        chosen: sum(
            len(s.text) for s in drawn(of, selected=chosen).spans if s.role is Role.WINDOW and s.target == stage
        )
        for chosen in (None, stage)
    }
    assert cells[stage] >= cells[None] > 0


def test_without_a_curve_the_picture_says_so() -> None:
    of = plan("elm-01")
    assert of.growth.at_maturity is None
    picture = drawn(of, 80, 15)
    assert "No growth projection" in picture.text
    assert "No growth projection" in picture.alt
    assert Role.MEDIAN not in {span.role for span in picture.spans}


def test_blocked_stages_without_a_date_are_listed_beside_the_axis() -> None:
    of = plan("lark-01")
    blocked = [stage for stage in of.stages if stage.status == "blocked"]
    assert blocked
    text = drawn(of, 80, 15).text
    assert "No date yet" in text
    assert all(f"✕ {stage.label}" in text for stage in blocked)


@pytest.mark.parametrize("child", files())
def test_the_alternative_in_words_names_every_stage_and_date(child) -> None:
    of = plan(child)
    alt = drawn(of).alt
    for stage in of.stages:
        assert is_the_road(stage) or stage.label in alt
        assert str(stage.date) in alt if stage.date else "no date" in alt


def test_ages_must_ascend() -> None:
    with pytest.raises(ValueError, match="ascend"):
        timeline(plan("rowan-02"), 80, 15, 5.0, 5.0)
