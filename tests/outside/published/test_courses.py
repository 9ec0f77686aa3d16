"""Published courses of both roads and both sides: the plan goes the printed way, or says why not and by what reason."""

from __future__ import annotations

from typing import Any

import pytest

from tests.offenders import for_each
from tests.outside.published.replays import COURSES, KINDS, PROTOCOL, REASONS, TOLERANCE, departing, departures, plan_of

Course = dict[str, Any]


def courses_with(key: str) -> list[Course]:
    return [course for course in COURSES if key in course]


def expecting(kind: str) -> list[Course]:
    """Return the courses of which something of a kind is printed and, as far as is said, found in the plan."""
    return [c for c in COURSES if kind in c["expected"] and kind not in c.get("differs_in", ())]


def agrees(course: Course, kind: str) -> None:
    assert not departures(course, kind), "; ".join(departures(course, kind))


@for_each(COURSES)
def test_a_course_cites_its_source_and_what_is_printed(course: Course) -> None:
    assert course["kind"] in ("case", "plan", "series")
    assert course["group"] in ("fibular", "tibial", "prosthetic", "above_limit", "both_sides", "devices", "joints")
    assert len(course["source"]) > 20
    assert len(course["printed"]) > 20
    assert course["expected"]


def test_no_course_is_told_twice() -> None:
    ids = [course["id"] for course in COURSES]
    assert len(ids) == len(set(ids))


@for_each(COURSES)
def test_what_is_expected_is_something_that_is_checked_of_stages_that_exist(course: Course) -> None:
    expected = course["expected"]
    assert set(expected) <= set(KINDS)
    named = [
        name for key in ("order", "offers", "refuses", "undated", "beside", "done") for name in expected.get(key, ())
    ]
    assert {name.partition(" ")[0] for name in named} <= {kind.id for kind in PROTOCOL.stages}


@for_each(courses_with("predicted_mm"))
def test_the_child_as_entered_has_the_printed_difference_at_maturity(course: Course) -> None:
    at = plan_of(course["id"]).growth.at_maturity
    assert at is not None
    assert at.discrepancy_mm.p50 == pytest.approx(course["predicted_mm"], abs=3)


@for_each(expecting("classes"))
def test_the_class_is_the_printed_one(course: Course) -> None:
    agrees(course, "classes")


@for_each(expecting("road"))
def test_the_road_is_the_printed_one(course: Course) -> None:
    agrees(course, "road")


@for_each(expecting("order"))
def test_the_stages_come_in_the_printed_order(course: Course) -> None:
    agrees(course, "order")


@for_each(expecting("together"))
def test_what_was_one_sitting_is_one(course: Course) -> None:
    agrees(course, "together")


@for_each(expecting("ages"))
def test_a_stage_comes_within_18_months_of_the_printed_age(course: Course) -> None:
    agrees(course, "ages")


@for_each(expecting("amounts"))
def test_a_step_gains_the_printed_amount_within_15_mm(course: Course) -> None:
    agrees(course, "amounts")


@for_each(expecting("lengthenings"))
def test_the_bones_are_lengthened_as_often_as_printed_or_once_more_or_less(course: Course) -> None:
    agrees(course, "lengthenings")


@for_each(expecting("operations"))
def test_the_prosthetic_road_takes_as_many_operations_as_printed(course: Course) -> None:
    agrees(course, "operations")


@for_each(expecting("offers"))
def test_what_was_done_in_print_is_offered(course: Course) -> None:
    agrees(course, "offers")


@for_each(expecting("beside"))
def test_the_other_road_stands_beside_the_chosen_one(course: Course) -> None:
    agrees(course, "beside")


@for_each(expecting("refuses"))
def test_what_failed_in_print_is_refused_or_spoken_against(course: Course) -> None:
    agrees(course, "refuses")


@for_each(expecting("undated"))
def test_what_only_a_wish_brings_is_dated_by_nobody(course: Course) -> None:
    agrees(course, "undated")


@for_each(expecting("done"))
def test_what_was_done_is_shown_once_and_on_its_side(course: Course) -> None:
    agrees(course, "done")


@for_each(expecting("gates"))
def test_the_gate_that_decided_in_print_is_asked(course: Course) -> None:
    agrees(course, "gates")


@for_each(expecting("passes"))
def test_the_gate_that_was_met_in_print_is_met(course: Course) -> None:
    agrees(course, "passes")


@for_each(expecting("says"))
def test_what_went_wrong_in_print_is_said(course: Course) -> None:
    agrees(course, "says")


def test_no_reason_is_added_to_the_four() -> None:
    assert REASONS == (
        "sources contradict each other",
        "era or device no longer used",
        "findings not printed",
        "our judgement",
    )


@for_each(courses_with("differs"))
def test_a_difference_is_explained_with_one_of_the_reasons(course: Course) -> None:
    assert len(course["differs"].split()) > 5
    assert course["reason"] in REASONS
    assert set(course["differs_in"]) <= set(course["expected"])


@for_each(courses_with("differs"))
def test_what_is_said_to_differ_does_not_agree(course: Course) -> None:
    assert set(departing(course)) == set(course["differs_in"])


def test_at_most_one_course_in_five_differs_by_our_judgement() -> None:
    ours = [course["id"] for course in COURSES if course.get("reason") == "our judgement"]
    assert len(ours) <= TOLERANCE["share_our_judgement"] * len(COURSES), ours
