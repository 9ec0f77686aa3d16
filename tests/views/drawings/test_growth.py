"""The leg difference by age: label, range, bar and spoken text hold the numbers of one distribution."""

from __future__ import annotations

import re

import pytest

from pathway.plan.model import Plan, Quantiles
from pathway.views.drawings.drawing import DEEP, Drawing
from pathway.views.drawings.growth import NARROW_MM, WIDE_MM, changes_length, growth_drawing
from pathway.views.pictures.curve import curve
from pathway.views.words.family_terms import signed
from pathway.views.words.wording import languages, wording
from tests.examples import NAMES
from tests.plans import plan
from tests.views.documents.made import family, words_of
from tests.views.drawings.measured import outside, overlaps, paths, texts

DRAWN = tuple(name for name in NAMES if name not in ("elm-01", "fern-05"))
WITH_PLAN = tuple(name for name in DRAWN if name not in ("ash-01", "lark-01"))
WIDTHS = (WIDE_MM, NARROW_MM)


def drawing(name: str, width: float = WIDE_MM) -> Drawing:
    drawn = growth_drawing(plan(name), wording(), width)
    assert drawn is not None
    return drawn


def told_end(of: Plan) -> Quantiles:
    assert of.recommended is not None
    assert of.recommended.residual_mm is not None
    return of.recommended.residual_mm


def lines_cm(drawn: Drawing) -> tuple[float, float]:
    """Where 0 cm lies on the paper and how many mm of paper a cm has, from the numbers at the lines."""
    beside = [(box, text) for box, text in texts(drawn) if re.fullmatch(r"-?\d+", text) and box.right < 9]
    numbers = {int(text): (box.top + box.low) / 2 for box, text in beside}
    low, high = min(numbers), max(numbers)
    each = (numbers[low] - numbers[high]) / (high - low)
    zero = numbers[high] + high * each
    (line,) = [p for p in paths(drawn) if p.wide == 0.35 and p.box.top == p.box.low]
    assert line.box.top == pytest.approx(zero, abs=0.3)
    return line.box.top, each


@pytest.mark.parametrize("name", WITH_PLAN)
@pytest.mark.parametrize("width", WIDTHS)
def test_label_and_range_at_the_end_are_those_of_the_spoken_text(name: str, width: float) -> None:
    end, words, shown = told_end(plan(name)), wording(), " ".join(drawing(name, width).texts)
    low, middle, high = (signed(mm, words) for mm in (end.p05, end.p50, end.p95))
    said = words_of(family(name))
    assert f"between {low} and {high}" in said
    assert middle in shown
    assert f"90 of 100: {low} to {high}" in shown
    assert f"{middle}. 90 of 100: {low} to {high}." in drawing(name, width).alternative


@pytest.mark.parametrize("name", DRAWN)
def test_without_operation_the_range_is_that_of_the_plan_too(name: str) -> None:
    at, words = plan(name).growth.at_maturity, wording()
    assert at is not None
    end = at.discrepancy_mm
    low, middle, high = (signed(mm, words) for mm in (end.p05, end.p50, end.p95))
    shown = " ".join(drawing(name).texts)
    assert middle in shown
    assert f"90 of 100: {low} to {high}" in shown


@pytest.mark.parametrize("name", WITH_PLAN)
@pytest.mark.parametrize("width", WIDTHS)
def test_the_bar_at_the_end_reaches_from_the_low_to_the_high_number(name: str, width: float) -> None:
    """Read off the paper, against the numbers at its lines."""
    drawn, end = drawing(name, width), told_end(plan(name))
    zero, each = lines_cm(drawn)
    at_the_end = [p for p in paths(drawn) if p.stroke == DEEP and p.wide == 0.7]
    (bar,) = [p.box for p in at_the_end if p.box.left == p.box.right]
    assert (zero - bar.low) / each == pytest.approx(end.p05 / 10, abs=0.1)
    assert (zero - bar.top) / each == pytest.approx(end.p95 / 10, abs=0.1)
    (disc,) = [p.box for p in at_the_end if p.fill != "none"]
    assert (zero - (disc.top + disc.low) / 2) / each == pytest.approx(end.p50 / 10, abs=0.1)


@pytest.mark.parametrize("name", ("ash-01", "lark-01"))
def test_where_the_plan_changes_no_length_only_the_fan_is_drawn(name: str) -> None:
    assert not changes_length(plan(name))
    assert not [p for p in paths(drawing(name)) if p.stroke == DEEP]
    assert "with the plan" not in " ".join(drawing(name).texts)


@pytest.mark.parametrize("name", WITH_PLAN)
def test_the_plan_is_one_line_without_a_second_range(name: str) -> None:
    """Upright hatching told of another distribution than the numbers beside it."""
    upright = [p for p in paths(drawing(name)) if p.stroke == DEEP and len(p.points) == 2 and p.box.left == p.box.right]
    assert len(upright) == 1


@pytest.mark.parametrize("name", DRAWN)
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("language", languages())
def test_nothing_overlaps_or_leaves_the_sheet(name: str, width: float, language: str) -> None:
    drawn = growth_drawing(plan(name), wording(language), width)
    assert drawn is not None
    assert overlaps(drawn) == []
    assert outside(drawn) == []


def gains(of: Plan) -> dict[float, float]:
    assert of.recommended is not None
    return {s.age_years: s.amount_mm or 0.0 for s in of.recommended.stages if not s.physes}


@pytest.mark.parametrize("name", WITH_PLAN)
def test_each_lengthening_takes_its_amount_off_the_curve_at_its_age(name: str) -> None:
    line = curve(plan(name))
    assert line is not None
    assert line.steps == tuple(sorted(gains(plan(name))))
    for age, mm in gains(plan(name)).items():
        fall = line.with_plan(age - 1e-6).p50 - line.with_plan(age).p50
        assert fall == pytest.approx(mm, abs=0.1)


def test_the_curve_of_a_grown_child_goes_on_until_after_its_last_operation() -> None:
    """Two lengthenings after growth: the line falls by both, and the label tells what is left."""
    of = plan("elder-15")
    line = curve(of)
    assert line is not None
    first, last = sorted(gains(of))
    assert of.growth.mature_age_years < first < last < line.points[-1].age_years - 0.25
    natural = of.growth.at_maturity
    assert natural is not None
    assert line.with_plan((first + last) / 2).p50 == pytest.approx(natural.discrepancy_mm.p50 - gains(of)[first], abs=2)
    left = natural.discrepancy_mm.p50 - sum(gains(of).values())
    assert line.with_plan(line.points[-1].age_years).p50 == pytest.approx(left, abs=2)


def test_a_day_later_than_the_age_of_the_course_moves_no_gain() -> None:
    """The table counts a gain from the age of the course on, the calendar may put the operation weeks later."""
    of = plan("elder-15")
    later = tuple(
        s.model_copy(update={"age_years": s.age_years + 0.04}) if s.amount_mm and s.age_years else s for s in of.stages
    )
    moved, line = curve(of.model_copy(update={"stages": later})), curve(of)
    assert moved is not None
    assert line is not None
    ages = [15.3 + k / 50 for k in range(80)]
    assert [moved.with_plan(age) for age in ages] == [line.with_plan(age) for age in ages]
