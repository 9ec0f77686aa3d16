"""Two plans side by side: a course that is carried on is no other course, and what matters stands first."""

from __future__ import annotations

from pathway.plan.model import Plan, Recorded
from pathway.questions.compare import carried_on, differences
from pathway.views.words.changes import essentials
from tests.plans import plan

CHILD = "rowan-02"


def first_done(of: Plan, *, drop: int = 0) -> tuple[Plan, str]:
    """Return the plan with the first operation of its course done, and so many of those left dropped; its label."""
    course = of.recommended
    assert course is not None
    dated = {one.id: one for one in of.stages if one.date is not None}
    first = min((one.id for one in course.stages), key=lambda id: dated[id].date or of.on)
    left = tuple(one for one in course.stages if one.id != first)
    now = course.model_copy(update={"stages": left[drop:], "summary": "what is left"})
    record = {"status": "done", "recorded": Recorded(achieved_mm=28.0)}
    stages = tuple(one.model_copy(update=record) if one.id == first else one for one in of.stages)
    courses = tuple(now if one.recommended else one for one in of.alternatives)
    return of.model_copy(update={"stages": stages, "alternatives": courses}), dated[first].label


def test_a_course_of_which_one_operation_was_done_is_told_as_unchanged() -> None:
    before = plan(CHILD)
    after, _ = first_done(before)
    assert before.recommended is not None
    many = len(before.recommended.stages)
    assert carried_on(before, after) == (1, many)
    (said,) = [one.sentence for one in differences(before, after) if one.kind == "course"]
    assert said == (
        f"Course unchanged: 1 of {many} done. It was: {before.recommended.summary}; what is left: what is left."
    )


def test_a_course_that_lost_an_operation_beside_the_one_done_is_another() -> None:
    before = plan(CHILD)
    after, _ = first_done(before, drop=1)
    assert carried_on(before, after) is None
    assert carried_on(before, before) is None
    assert any(one.sentence.startswith("Course that comes first: ") for one in differences(before, after))


def test_after_an_operation_the_difference_is_that_without_further_operations() -> None:
    before = plan(CHILD)
    after, _ = first_done(before)
    grown = after.growth.at_maturity
    assert grown is not None
    more = grown.discrepancy_mm.model_copy(update={"p50": grown.discrepancy_mm.p50 + 10})
    maturity = grown.model_copy(update={"discrepancy_mm": more})
    growth = after.growth.model_copy(update={"at_maturity": maturity})
    told = differences(before, after.model_copy(update={"growth": growth}))[0].sentence
    assert told.startswith("Difference at maturity without further operations: ")


def test_what_was_done_the_course_and_what_is_next_come_before_all_else() -> None:
    before = plan(CHILD)
    after, label = first_done(before)
    said = list(essentials(before, after))
    assert said[0].startswith("Carried out: ")
    assert label[1:] in said[0]
    assert said[1].startswith("Course unchanged: 1 of ")
    assert list(essentials(before, before)) == []
