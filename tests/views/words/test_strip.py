"""What stands above the timeline: next, because, waits, beware; every number is the plan's."""

from __future__ import annotations

import datetime
import re

import pytest

from pathway.days import whole_months
from pathway.plan.assemble import PROJECTION
from pathway.plan.model import Plan
from pathway.plan.waiting import may_wait_days
from pathway.protocol.question import Question
from pathway.protocol.words import lower_first
from pathway.questions.due import next_ones, plan_summary, steps_before
from pathway.questions.last_days import cannot_be_made_up, limits, usual_latest
from pathway.questions.unknown import shared_out
from pathway.record import Record
from pathway.views.words.accepting import next_steps, not_known
from pathway.views.words.children import next_stage
from pathway.views.words.paragraphs import gate_count
from pathway.views.words.printed import printed
from pathway.views.words.strip import BECAUSE, BEWARE, NEXT, WAITS, in_words, moved_words, strip
from tests.made_once import made_once
from tests.offenders import for_each
from tests.plans import DAY, files, plan, record, rules
from tests.sample import HEALTHY, LEGS, at_age, child, visit

ROWS_AT_80 = 9
"""So many rows of 80 columns leave the lanes their place on the smallest screen."""


def said(of: Plan, **wishes: bool) -> dict[str, str]:
    return {paragraph.mark: paragraph.text for paragraph in strip(of, **wishes)}


def small_difference() -> Record:
    """A child of five with two centimetres to expect."""
    other = LEGS["other.femur_length_mm"]
    legs = {
        "other.femur_length_mm": other,
        "affected.femur_length_mm": 0.957 * other,
        "other.tibia_length_mm": 0.8 * other,
        "affected.tibia_length_mm": 0.8 * other,
    }
    return child(visit(at_age(5.0), {**HEALTHY, **legs}))


@for_each(files())
def test_what_is_next_is_said_with_its_day_and_how_far_away_it_is(child) -> None:
    of = plan(child)
    stage = next_stage(of)
    assert stage is not None
    assert stage.date is not None
    text = said(of)[NEXT]
    assert stage.label in text
    assert f"{stage.date} ({in_words(of.on, stage.date)})" in text


@for_each(files())
def test_how_long_it_may_wait_ends_on_the_day_of_the_plan(child) -> None:
    of = plan(child)
    stage = next_stage(of)
    assert stage is not None
    assert stage.date is not None
    days = may_wait_days(stage)
    text = said(of)[NEXT]
    if not stage.operation or days is None:
        assert "wait" not in text
    elif days:
        assert f"to {stage.date + datetime.timedelta(days=days)}" in text
    else:
        assert f"Any delay also moves {moved_words(stage)}" in text


def test_what_moves_with_a_longer_delay_is_named() -> None:
    text = said(plan("hazel-08"))[NEXT]
    assert "a longer delay also moves growth arrest of the other leg and femoral lengthening 2" in text


def test_operations_of_one_day_are_said_together() -> None:
    assert "Hip preparation and osteotomy of the proximal femur, 2026-12-23" in said(plan("rowan-02"))[NEXT]


def test_the_value_stands_beside_its_threshold_and_is_read_again_where_its_error_reaches_across() -> None:
    text = said(plan("hazel-08"))[BECAUSE]
    assert "Centre-edge angle 18 ±4 deg (ground: at most 20 deg)" in text
    assert "Close call, repeat it first: across the threshold femoral lengthening 2" in text
    assert "±" not in said(plan("cedar-05"))[BECAUSE]


def test_a_ground_that_the_error_would_turn_is_read_again_also_where_the_call_is_firm() -> None:
    of = plan("hazel-08")
    firm = of.model_copy(update={"firmness": of.firmness.model_copy(update={"close_call": False, "why": ()})})
    text = said(firm)[BECAUSE]
    assert "Centre-edge angle 18 ±4 deg (ground: at most 20 deg) reaches across: repeat first" in text
    assert "Close call" not in text


def test_a_close_call_by_another_finding_than_the_ground_names_its_value() -> None:
    text = said(plan("juniper-03"))[BECAUSE]
    assert "Close call, repeat first: centre-edge angle 23 ±4 deg (ground: at most 20 deg)" in text
    assert "across it hip preparation is added" in text


def test_a_close_call_by_the_weights_says_what_the_plan_says() -> None:
    of = plan("hazel-08")
    why = of.firmness.why[0].model_copy(update={"what": "gap", "id": "", "sentence": "By the weights 0.1 worse."})
    gap = of.model_copy(update={"firmness": of.firmness.model_copy(update={"why": (why,), "decide_on": None})})
    assert "Close call: by the weights 0.1 worse." in said(gap)[BECAUSE]


@for_each(files())
def test_what_is_not_known_is_named_with_its_day_or_counted_by_the_step_that_waits_for_it(child) -> None:
    of = plan(child)
    text = said(of)[WAITS]
    for head, questions in zip(("for it", "for other steps"), shared_out(of, next_ones(of)), strict=True):
        found = re.search(rf"{head}: (.*?)(?:\.(?: |$)|; for other)", text)
        assert (found is None) == (not questions)
        if found is None:
            continue
        shown = [question for question in questions if question.label in found[1]]
        more = re.search(r"; (\d+) more$", found[1])
        assert len(shown) + int(more[1] if more else 0) == len(questions)
        assert shown == list(questions[: len(shown)])
        assert all(one.by is None or one.by <= of.on or f"by {one.by}" in found[1] for one in shown)
    assert ("Not known" in text) == bool(of.open_questions)


@for_each(files())
def test_what_is_not_known_stands_in_one_order_by_day_and_name(child) -> None:
    asked = plan(child).open_questions
    assert list(asked) == sorted(asked, key=lambda one: (one.by or DAY, PROJECTION not in one.blocks, one.label))


def test_what_waits_on_a_road_that_is_not_chosen_says_so() -> None:
    of = plan("lark-01")
    text = said(of)[WAITS]
    assert "arc of ankle motion (today, lengthening road)" in text
    assert "before tibial lengthening 1 [lengthening road]" in text
    told = [paragraph.text for paragraph in not_known(of)]
    assert any("arc of ankle motion" in one and "Tibial lengthening 1 [lengthening road]" in one for one in told)


@for_each(files())
def test_every_condition_that_fails_is_counted_or_named(child) -> None:
    of = plan(child)
    failing = [
        gate
        for stage in of.stages
        if not stage.begun and stage.road != "prosthetic"
        for gate in stage.gates
        if gate.state == "fails"
    ]
    mended = sum(gate.mended_by is not None for gate in failing)
    text = said(of)[WAITS]
    assert ("No condition fails" in text) == (not failing)
    assert (re.search(rf"\b{mended} conditions? fails? today", text) is not None) == (mended > 0)
    assert ("no step mends it" in text) == (len(failing) > mended)


def test_the_condition_that_fails_is_named() -> None:
    for brief in (False, True):
        assert "1 condition fails today: centre-edge angle 18 deg" in said(plan("hazel-08"), brief=brief)[WAITS]


def test_a_step_that_waits_for_findings_is_not_said_to_fail() -> None:
    of = plan("alder-06")
    stage = next_stage(of)
    assert stage is not None
    assert "Blocked today: 1 condition not known." in said(of)[NEXT]
    assert "No condition fails; 1 is not known." in said(of)[WAITS]
    step = next(one.text for one in next_steps(of) if stage.label in one.text and str(stage.date) in one.text)
    assert "blocked: 1 condition not known" in step
    assert gate_count(stage).text.endswith("1 not known")


@for_each(files())
def test_last_days_are_those_of_the_list_and_usual_ages_are_told_apart(child) -> None:
    of = plan(child)
    lost = cannot_be_made_up(of)
    summary = plan_summary(of, record(child), rules())
    assert [(item["stage"], item["on"]) for item in summary["last_days"]] == [(s.label, str(day)) for day, s in lost]
    for brief in (False, True):
        text = said(of, brief=brief)[BEWARE]
        assert text.startswith("!") == bool(lost)
        assert text.count("cannot be made up") == max(1, len(lost))
        assert not lost or text.startswith(f"! {lost[0][1].label}: last day {lost[0][0]}")
    later = [(day, stage) for day, stage in usual_latest(of) if stage not in next_ones(of)]
    for day, stage in later[:2]:
        assert f"{lower_first(stage.label)} {day}" in said(of)[BEWARE].partition("Usual latest age")[2]


@for_each(files())
def test_the_usual_latest_age_of_what_is_next_stands_beside_it(child) -> None:
    of = plan(child)
    stage = next_stage(of)
    assert stage is not None
    if stage.operation and stage.last_by == "rule_of_use" and stage.window is not None:
        assert str(stage.window.latest) in said(of)[NEXT]
        assert f"{lower_first(stage.label)} {stage.window.latest}" not in said(of)[BEWARE]


def test_no_other_operation_within_years_holds_for_the_plan() -> None:
    of = plan("hazel-08")
    (following, _), *_ = [(day, stage) for day, stage in limits(of) if stage not in next_ones(of)]
    years = whole_months(of.on, following) // 12
    assert f"No other operation has a last day within {years} years." in said(of)[BEWARE]


@for_each(files())
def test_what_is_due_before_the_next_operation_is_named_and_counted(child) -> None:
    of = plan(child)
    stage = next_stage(of)
    assert stage is not None
    due = steps_before(of, stage)
    text = said(of)[NEXT]
    assert bool(due) == ("Before it:" in text or "Besides:" in text)
    more = re.search(r"; (\d+) more\.", text)
    shown = [one for one in due if lower_first(one.label).partition(" before ")[0] in text]
    assert len(shown) + int(more[1] if more else 0) >= len(due)


@pytest.mark.parametrize(
    ("child", "because"),
    [
        ("elm-01", "no length was measured"),
        ("lark-01", "the prosthetic road comes first, and its steps have usual ages, no dates"),
        ("fern-05", "both legs are short: no difference at maturity is predicted from the other leg"),
    ],
)
def test_why_no_operation_has_a_date_is_said(child, because) -> None:
    assert f"No operation has a date: {because}." in said(plan(child))[NEXT]


def test_a_difference_below_the_ground_is_why_no_operation_has_a_date() -> None:
    of = made_once(Question(small_difference(), rules(), at_age(5.0)), compared=False)
    text = said(of)[NEXT]
    found = re.search(r"No operation has a date: predicted difference at maturity (\d+) mm \(ground: (.+)\)\.", text)
    assert found is not None
    assert of.recommended is not None
    assert int(found[1]) == pytest.approx(of.recommended.predicted_mm, abs=1)


@for_each(files())
def test_brief_it_leaves_the_lanes_their_place_on_the_smallest_screen(child) -> None:
    assert len(printed(strip(plan(child), brief=True), 80)) <= ROWS_AT_80


@pytest.mark.parametrize(
    ("days", "words"),
    [(0, "today"), (1, "in 1 day"), (28, "in 28 days"), (365, "in 1 y"), (1078, "in 2 y 11 m"), (-3, "3 days ago")],
)
def test_how_far_away_a_day_is(days, words) -> None:
    assert in_words(DAY, DAY + datetime.timedelta(days=days)) == words


def test_a_plan_without_dates_says_so() -> None:
    of = plan("elm-01").model_copy(update={"stages": ()})
    assert said(of)[NEXT] == "Nothing has a date: no operation is planned as things stand."
    assert BECAUSE not in said(of)
