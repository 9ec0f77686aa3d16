"""What a plan asks for by when, and from which day on it is no longer true."""

from __future__ import annotations

import datetime

import pytest

from pathway.days import add_months
from pathway.plan.make import make_plan
from pathway.protocol.question import Question
from pathway.questions.due import Due, due, needed, plan_summary
from tests.examples import NAMES, ON, example
from tests.made_once import made_once


def kept(name: str, protocol) -> dict:
    record = example(name)
    return plan_summary(made_once(Question(record, protocol, ON), compared=False), record, protocol)


@pytest.mark.parametrize("name", NAMES)
def test_a_plan_is_true_until_the_first_day_that_it_names(name, protocol) -> None:
    summary = kept(name, protocol)
    changes = datetime.date.fromisoformat(summary["changes_on"])
    coming = [one.by for one in needed(summary, ON) if one.by > ON]
    assert ON < changes <= min(coming, default=datetime.date.max)


@pytest.mark.parametrize("name", NAMES)
def test_visits_and_steps_that_are_due_are_listed_with_their_day(name, protocol) -> None:
    plan = made_once(Question(example(name), protocol, ON), compared=False)
    listed = {(one.by, one.what) for one in due(name, kept(name, protocol), ON, 12)}
    coming = [stage for stage in plan.stages if stage.date and not (stage.operation or stage.begun)]
    soon = [stage for stage in coming if stage.road != "prosthetic" and stage.date <= add_months(ON, 12)]
    assert {(stage.date, stage.label) for stage in soon} <= listed
    assert soon == [] or any(one.kind in ("step", "examine") for one in due(name, kept(name, protocol), ON, 12))


def test_a_step_from_today_on_is_not_overdue_tomorrow(protocol) -> None:
    tomorrow = ON + datetime.timedelta(days=1)
    steps = [one for one in due("alder-06", kept("alder-06", protocol), tomorrow, 3) if one.kind == "step"]
    assert {"Second hip look", "Shoe lift"} <= {one.what for one in steps}
    assert not any(one.overdue for one in steps)


def test_a_finding_that_goes_out_of_date_ends_it_earlier(protocol) -> None:
    record = example("rowan-02")
    measured = [(visit.date, item.finding) for visit in record.visits for item in visit.measurements]
    valid = [(day, months) for day, name in measured if (months := protocol.finding(name).valid_months) is not None]
    ends = min(add_months(day, months) for day, months in valid)
    day = ends - datetime.timedelta(days=1)
    before = plan_summary(make_plan(Question(record, protocol, day), compared=False), record, protocol)
    assert before["changes_on"] == str(ends)


def test_the_summary_of_a_plan_of_another_form_is_an_error_and_no_empty_list(protocol) -> None:
    for wrong in ({}, {"see_again_by": "soon"}, {**kept("oak-12", protocol), "measure": [{"what": "x"}]}):
        with pytest.raises((KeyError, ValueError)):
            list(needed(wrong, ON))


def test_what_has_passed_is_overdue_and_a_window_that_has_opened_is_not_told(protocol) -> None:
    summary = {
        "see_again_by": "2026-11-24",
        "measure": [],
        "opens": [{"stage": "Hip", "on": "2026-11-24"}, {"stage": "Femur", "on": "2026-11-25"}],
        "arrest_last": None,
        "conflict": False,
    }
    assert set(due("a", summary, ON, 1)) == {
        Due("a", datetime.date(2026, 11, 24), "follow-up visit", True),
        Due("a", ON, "window opens: Femur", False),
    }
