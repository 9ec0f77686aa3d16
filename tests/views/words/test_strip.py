"""What stands above the timeline: next, because, waits, beware; every number is the plan's."""

from __future__ import annotations

import datetime
import re

import pytest

from pathway.days import whole_months
from pathway.plan.model import Plan, PlanStage
from pathway.views.words.children import next_stage
from pathway.views.words.printed import printed
from pathway.views.words.strip import BECAUSE, BEWARE, NEXT, WAITS, in_words, moved_words, strip
from tests.offenders import for_each
from tests.plans import DAY, files, plan

ROWS_AT_80 = 9
"""So many rows of 80 columns leave the lanes their place on the smallest screen."""


def said(of: Plan, **wishes: bool) -> dict[str, str]:
    return {paragraph.mark: paragraph.text for paragraph in strip(of, **wishes)}


def with_stage(of: Plan, id: str, **changes: object) -> Plan:
    stages = tuple(stage.model_copy(update=changes) if stage.id == id else stage for stage in of.stages)
    return of.model_copy(update={"stages": stages})


def last_days(of: Plan) -> list[tuple[datetime.date, PlanStage]]:
    dated = [s for s in of.stages if s.operation and s.date is not None and not s.begun and s.window is not None]
    return sorted(((s.window.latest, s) for s in dated if s.window and s.window.latest), key=lambda item: item[0])


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
    days = stage.free_slack_days if stage.free_slack_days is not None else stage.slack_days
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
def test_what_is_not_known_is_named_with_its_day_or_counted(child) -> None:
    of = plan(child)
    text = said(of)[WAITS]
    shown = [question for question in of.open_questions if question.label in text]
    more = re.search(r"and (\d+) more", text)
    assert len(shown) + int(more[1] if more else 0) == len(of.open_questions)
    for question in shown:
        assert question.by is None or question.by <= of.on or f"by {question.by}" in text
    assert ("Not known" in text) == bool(of.open_questions)


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
    assert ("No condition fails." in text) == (not failing)
    assert (re.search(rf"\b{mended} conditions? fails? today", text) is not None) == (mended > 0)
    assert ("no step mends it" in text) == (len(failing) > mended)


@for_each(files())
def test_the_earliest_last_day_is_always_said_and_that_of_an_arrest(child) -> None:
    of = plan(child)
    days = last_days(of)
    for brief in (False, True):
        text = said(of, brief=brief)[BEWARE]
        if not days:
            assert text == "No operation to come has a last day."
            continue
        assert str(days[0][0]) in text
        arrests = [item for item in days if item[1].physes]
        assert not arrests or f"{arrests[0][0]}" in text
        assert ("cannot be made up" in text) == bool(arrests)


def test_no_other_operation_within_years_holds_for_the_plan() -> None:
    of = plan("hazel-08")
    (_, _), (following, _), *_ = last_days(of)
    years = whole_months(of.on, following) // 12
    assert f"No other operation has one within {years} years." in said(of)[BEWARE]


def test_another_last_day_soon_after_is_named() -> None:
    of = plan("hazel-08")
    (first, _), *_ = last_days(of)
    lengthening = of.stage("femoral_lengthening_2")
    assert lengthening.window is not None
    soon = first + datetime.timedelta(days=-1)
    near = with_stage(of, lengthening.id, window=lengthening.window.model_copy(update={"latest": soon}))
    text = said(near)[BEWARE]
    assert text.startswith(f"! {lengthening.label}: last day {soon}")
    assert f"growth arrest of the other leg: {first}, cannot be made up" in text


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
