"""What stands behind an acceptance: every operation with its day, what is not known, what changed since the last."""

from __future__ import annotations

import pytest

from pathway.children.kept_plans import AcceptedLast, days_of
from pathway.events import diff
from pathway.plan.waiting import may_wait_until
from pathway.protocol.load import load_protocol
from pathway.questions.compare import differences
from pathway.questions.followup import Change, Preview
from pathway.views.words.accepting import FIRST_TIME, accepted_words, what_is_accepted
from pathway.views.words.history import NO_COURSE, kept_words, standing_words
from tests.examples import NAMES
from tests.plans import DAY, plan, record


def said(child: str) -> str:
    return "\n".join(one.text for one in what_is_accepted(plan(child)))


@pytest.mark.parametrize("child", NAMES)
def test_every_operation_to_come_is_named_with_its_day_and_what_is_not_known(child: str) -> None:
    words, made = said(child), plan(child)
    for stage in made.stages:
        if stage.operation and stage.date is not None and not stage.begun:
            assert f"{stage.date}  {stage.label}" in words
    for question in made.open_questions:
        assert question.label in words
    assert FIRST_TIME in words
    assert ("Close call" in words) == made.firmness.close_call


def test_no_step_may_wait_until_its_own_day() -> None:
    for line in said("rowan-02").split("\n"):
        day, _, rest = line.partition("  ")
        assert f"may wait until {day}" not in rest


@pytest.mark.parametrize("child", NAMES)
def test_a_step_may_wait_as_long_as_the_timeline_says(child: str) -> None:
    words = said(child).split("\n")
    for stage in plan(child).stages:
        line = next((one for one in words if one.startswith(f"{stage.date}  {stage.label}")), "")
        until = may_wait_until(stage)
        if line and until is not None and until != stage.date:
            assert f"may wait until {until}" in line
        elif line:
            assert "may wait" not in line


def test_what_is_under_way_is_told_apart_from_the_next_steps() -> None:
    words = said("hazel-08").split("\n")
    under_way = next(stage for stage in plan("hazel-08").stages if stage.status == "under_way")
    at = words.index("Under way")
    assert words[at + 1].startswith(f"{under_way.label}, since {under_way.date}")
    steps = words[words.index("Next steps") + 1 : words.index("Not known")]
    assert all(one[:10] >= str(DAY) for one in steps if one[:2] == "20")


def test_a_child_without_a_course_is_not_said_to_have_one() -> None:
    assert plan("elm-01").recommended is None
    assert "No course is planned for length" in said("elm-01")


def test_what_changed_since_stands_before_the_steps() -> None:
    before, after = plan("rowan-02"), plan("oak-12")
    changed = Preview(before, after, (), tuple(Change(one, ("a new length",)) for one in differences(before, after)))
    words = [one.text for one in what_is_accepted(after, ("a visit",), "accepted by the team", changed)]
    assert words.index("Because of a new length:") < words.index("Next steps")
    assert "Last accepted by the team." in words
    assert "a visit" in words


def test_who_accepted_and_who_entered_it_are_told_apart() -> None:
    words = accepted_words(DAY, "family", "ward-3", "agreed")
    assert words == f"accepted by the family, entered by ward-3, as planned on {DAY}, because: agreed"
    assert standing_words(True, "team") == "plan accepted by the team"
    assert standing_words(True, "") == "plan accepted"
    assert standing_words(False, "") == "plan kept with what was saved"
    assert kept_words({}, "") == NO_COURSE
    assert kept_words({"alternatives": [{"summary": "two", "recommended": True}]}, "asked for") == "two; asked for"


def test_a_record_without_a_journal_is_told_day_by_day_and_reads_back_to_itself() -> None:
    known = record("rowan-02")
    steps = days_of(known, load_protocol())
    assert [one.on for one in steps] == sorted({one.date for one in (*known.visits, *known.operations)})
    assert "length of the femur left 119 mm" in steps[-1].what
    assert str(steps[-1].on) not in steps[-1].what
    assert diff(known.until(steps[-1].on), known) == ()


def test_a_plan_that_cannot_be_read_any_more_says_so() -> None:
    last = AcceptedLast(1, DAY, "ward-3", "team", DAY, "", {"schema": "another"}, record("rowan-02"))
    with pytest.raises(ValueError, match="validation error"):
        last.plan()
