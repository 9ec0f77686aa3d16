"""The legs: every length is the plan's, one scale throughout, read back from the SVG."""

from __future__ import annotations

import re

import pytest

from pathway.plan.model import Plan
from pathway.views.drawings.drawing import DEEP, PALE, Drawing
from pathway.views.drawings.growth import NARROW_MM, WIDE_MM, changes_length
from pathway.views.drawings.leg_pairs import groups_of
from pathway.views.drawings.legs import legs_drawing
from pathway.views.words.family_terms import cm, signed
from pathway.views.words.wording import languages, wording
from tests.examples import NAMES
from tests.plans import plan
from tests.views.drawings.measured import outside, overlaps, paths, texts

DRAWN = tuple(name for name in NAMES if name not in ("elm-01", "fern-05"))
BONES = {"femoral_lengthening": "thigh_mm", "tibial_lengthening": "shin_mm"}


def drawing(name: str, width: float = WIDE_MM) -> Drawing:
    made = legs_drawing(plan(name), wording(), width)
    assert made is not None
    return made


def lengthenings(of: Plan) -> list:
    begun = {stage.id for stage in of.stages if stage.begun}
    course = of.recommended
    return [s for s in course.stages if s.kind in BONES and s.id not in begun] if course else []


@pytest.mark.parametrize("name", DRAWN)
def test_the_first_and_the_last_pair_are_those_of_the_table_of_the_plan(name: str) -> None:
    of, groups = plan(name), groups_of(plan(name))
    first, last = of.growth.by_age[0], of.growth.by_age[-1]
    now, end = groups[0].pairs[0], groups[-1].pairs[0]
    assert (now.long.whole_mm, now.treated.whole_mm) == (first.long_leg_mm, first.short_leg_mm)
    assert (now.treated.thigh_mm, now.treated.shin_mm) == (first.short_femur_mm, first.short_tibia_mm)
    assert (end.long.whole_mm, end.age_years) == (last.long_leg_mm, last.age_years)
    course = of.recommended
    assert course is not None
    told = course.residual_mm if changes_length(of) else of.growth.at_maturity.discrepancy_mm
    assert end.gap_mm == pytest.approx(told.p50)


@pytest.mark.parametrize("name", DRAWN)
def test_each_lengthening_takes_its_amount_off_the_gap_in_its_own_bone(name: str) -> None:
    steps = {stage.id: stage for stage in lengthenings(plan(name))}
    for group in groups_of(plan(name)):
        done = [stage for stage in group.steps if stage.id in steps]
        if not done:
            continue
        before, after = group.pairs
        assert before.gap_mm - after.gap_mm == pytest.approx(sum(stage.amount_mm for stage in done))
        assert (before.long, before.age_years) == (after.long, after.age_years)
        for stage in done:
            bone = BONES[stage.kind]
            assert getattr(after.treated, bone) - getattr(before.treated, bone) == pytest.approx(stage.amount_mm)
        steps = {id: stage for id, stage in steps.items() if stage not in done}
    assert steps == {}


@pytest.mark.parametrize("name", DRAWN)
def test_between_the_points_of_the_table_no_leg_jumps(name: str) -> None:
    """A pair lies between the points around it, each with the gains that it has."""
    points, gains = plan(name).growth.by_age, lengthenings(plan(name))
    for group in groups_of(plan(name))[1:-1]:
        age = group.steps[0].age_years
        first = max((p for p in points if p.age_years <= age), key=lambda p: p.age_years, default=points[0])
        last = next((p for p in points if p.age_years > age), points[-1])

        def bare(point, age=age) -> float:
            return point.short_leg_mm - sum(s.amount_mm for s in gains if s.age_years <= point.age_years)

        had = sum(s.amount_mm for s in gains if s.age_years < age)
        assert bare(first) - 0.2 <= group.pairs[0].treated.whole_mm - had <= bare(last) + 0.2
        assert first.long_leg_mm - 0.2 <= group.pairs[0].long.whole_mm <= last.long_leg_mm + 0.2


@pytest.mark.parametrize("name", DRAWN)
def test_all_legs_are_drawn_to_the_scale_of_the_ruler(name: str) -> None:
    """Thigh and shin of each leg on the paper, against the ruler on the same paper, in the order of the pairs."""
    drawn = drawing(name)
    pairs = [pair for group in groups_of(plan(name)) for pair in group.pairs]
    box = next(box for box, text in texts(drawn) if text == "20 cm")
    level = [p for p in paths(drawn) if p.wide == 0.4 and p.box.low - p.box.top < 1e-6]
    (ruler,) = [p for p in level if box.top < p.box.top < box.low]
    scale = (ruler.box.right - ruler.box.left) / 200
    for tone, leg in ((DEEP, "treated"), (PALE, "long")):
        bars = [p.box for p in paths(drawn) if p.fill == tone and p.box.right - p.box.left < 3.5]
        high = [bar.low - bar.top for bar in bars if bar.low - bar.top > 2]
        wanted = [mm * scale for pair in pairs for mm in (getattr(pair, leg).thigh_mm, getattr(pair, leg).shin_mm)]
        assert high == pytest.approx(wanted, abs=0.05)


@pytest.mark.parametrize("name", DRAWN)
def test_every_gap_is_said_in_words(name: str) -> None:
    drawn, words = drawing(name), wording()
    shown = " ".join(drawn.texts)
    for group in groups_of(plan(name)):
        for pair in group.pairs:
            gap = signed(pair.gap_mm, words)
            assert gap in drawn.alternative
            assert all(part in shown for part in gap.rsplit(" ", 1))
        for stage in group.steps:
            assert cm(stage.amount_mm, words) in drawn.alternative


def test_the_end_of_the_legs_and_of_the_curve_are_one_number() -> None:
    of = plan("juniper-03")
    assert of.recommended is not None
    assert of.recommended.residual_mm is not None
    assert "At the end, age 16: " in drawing("juniper-03").alternative
    assert signed(of.recommended.residual_mm.p50, wording()) in drawing("juniper-03").alternative


def test_ages_are_those_of_the_day_of_the_operation() -> None:
    """The arrest of this child is a day before its ninth birthday in the course, and after it in the calendar."""
    of = plan("rowan-02")
    (arrest,) = [group.pairs[0] for group in groups_of(of) if group.steps and group.steps[0].physes]
    assert arrest.when == "start"
    assert arrest.age_years == of.stage("contralateral_growth_arrest").age_years


def test_a_lengthening_on_the_day_of_the_plan_is_not_done_yet_now() -> None:
    """The table counts a gain from its day on: a table that begins on that day has it in its first point."""
    of = plan("rowan-02")
    first = lengthenings(of)[0]
    later = tuple(point for point in of.growth.by_age if point.age_years >= first.age_years)
    begun = of.model_copy(update={"growth": of.growth.model_copy(update={"by_age": later})})
    now, around, *_ = groups_of(begun)
    assert now.pairs[0].gap_mm == pytest.approx(later[0].long_leg_mm - later[0].short_leg_mm + first.amount_mm)
    assert [pair.when for pair in around.pairs] == ["before", "after"]
    before, after = around.pairs
    assert before.gap_mm == pytest.approx(now.pairs[0].gap_mm)
    assert before.gap_mm - after.gap_mm == pytest.approx(first.amount_mm)
    drawn = legs_drawing(begun, wording())
    assert drawn is not None
    assert overlaps(drawn) == []


def test_without_bones_the_legs_are_drawn_whole() -> None:
    of = plan("juniper-03")
    bare = {f"{leg}_{bone}_mm": None for leg in ("long", "short") for bone in ("femur", "tibia")}
    points = tuple(point.model_copy(update=bare) for point in of.growth.by_age)
    blind = of.model_copy(update={"growth": of.growth.model_copy(update={"by_age": points})})
    pairs, known = ([p for g in groups_of(plan) for p in g.pairs] for plan in (blind, of))
    assert all(pair.treated.thigh_mm is None for pair in pairs)
    assert [pair.gap_mm for pair in pairs] == pytest.approx([pair.gap_mm for pair in known])
    assert legs_drawing(blind, wording()) is not None


def test_without_lengths_the_gap_alone_is_to_scale() -> None:
    of, drawn = plan("fern-05"), drawing("fern-05")
    assert of.growth.by_age == ()
    assert "4.8 cm apart" in drawn.texts
    assert "Only the gap is drawn to scale." in drawn.texts
    assert cm(of.growth.measured[-1].discrepancy_mm, wording()) in drawn.alternative
    (ruler,) = [p for p in paths(drawn) if p.box.low == p.box.top and p.box.low > drawn.height_mm - 5 and p.wide == 0.4]
    block = max((p.box for p in paths(drawn) if p.wide == 0.25 and p.fill != "none"), key=lambda b: b.low - b.top)
    high, scale = block.low - block.top, (ruler.box.right - ruler.box.left) / 20
    assert high / scale == pytest.approx(of.growth.measured[-1].discrepancy_mm, abs=0.1)


def test_where_nothing_was_measured_there_is_no_drawing() -> None:
    assert plan("elm-01").growth.measured == ()
    assert legs_drawing(plan("elm-01"), wording()) is None


@pytest.mark.parametrize("name", (*DRAWN, "fern-05"))
@pytest.mark.parametrize("width", (WIDE_MM, NARROW_MM))
@pytest.mark.parametrize("language", languages())
def test_nothing_overlaps_or_leaves_the_sheet(name: str, width: float, language: str) -> None:
    drawn = legs_drawing(plan(name), wording(language), width)
    assert drawn is not None
    assert overlaps(drawn) == []
    assert outside(drawn) == []


def test_numbers_stay_with_their_unit() -> None:
    for name in DRAWN:
        for width in (WIDE_MM, NARROW_MM):
            assert not [text for text in drawing(name, width).texts if re.search(r"\d$", text) and "." in text]


def test_the_ages_of_a_row_are_all_in_one_line_or_all_broken() -> None:
    """Ten pairs leave 17 mm for each, too few for `mit 16 Jahren`."""
    drawn = legs_drawing(plan("cedar-05"), wording("de"), WIDE_MM)
    assert drawn is not None
    assert {"mit 5", "mit 16", "Jahren"} <= set(drawn.texts)
    assert "age 16" in drawing("cedar-05").texts
