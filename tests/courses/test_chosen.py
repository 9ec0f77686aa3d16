"""A course that was chosen, after operations since: what was carried out of it, what is left of it, what follows."""

from __future__ import annotations

import datetime

import pytest

from pathway.courses.chosen import chosen_of, course_words
from pathway.plan.make import make_plan
from pathway.plan.model import Plan
from pathway.protocol.question import Question
from pathway.record import Decision, Operation, Record
from tests.plans import DAY, record, rules

CHOSEN_ON = datetime.date(2026, 10, 1)
LENGTHENED_ON = datetime.date(2026, 10, 12)
LENGTHENING = Operation(kind="femoral_lengthening", date=LENGTHENED_ON, side="left", achieved_mm=40)
ARREST = Operation(kind="contralateral_growth_arrest", date=DAY, side="right", physes=("distal_femur",))


def child(course: str, *done: Operation, name: str = "rowan-02") -> Record:
    choice = Decision(date=CHOSEN_ON, by="family", kind="choose_course", course=course, reason="ours")
    known = record(name)
    return known.model_copy(update={"decisions": (*known.decisions, choice), "operations": (*known.operations, *done)})


def planned(known: Record) -> Plan:
    return make_plan(Question(known, rules(), DAY))


@pytest.mark.parametrize(
    ("course", "done", "left"),
    [
        ("three_femoral_arrest", (), "three_femoral_arrest"),
        ("three_femoral_arrest", (LENGTHENING,), "two_femoral_arrest"),
        ("three_femoral_arrest", (ARREST,), "three_femoral"),
        ("one_femoral_one_tibial", (LENGTHENING,), "one_tibial"),
        ("one_femoral_arrest", (LENGTHENING,), "arrest"),
        ("one_femoral_arrest", (LENGTHENING, ARREST), None),
        ("one_femoral", (LENGTHENING, LENGTHENING), None),
        ("femoral.early", (LENGTHENING,), "femoral.early"),
        ("nine_femoral", (LENGTHENING,), "nine_femoral"),
        ("prosthetic_road", (LENGTHENING,), "prosthetic_road"),
    ],
)
def test_what_was_done_since_is_taken_off_what_was_chosen(course, done, left) -> None:
    chosen = chosen_of(child(course, *done), rules())
    assert chosen is not None
    assert (chosen.left, chosen.done) == (left, done)


def test_what_was_done_before_the_choice_or_after_the_day_is_not_taken_off() -> None:
    early = LENGTHENING.model_copy(update={"date": CHOSEN_ON - datetime.timedelta(days=1)})
    late = LENGTHENING.model_copy(update={"date": DAY + datetime.timedelta(days=1)})
    chosen = chosen_of(child("two_femoral", early, late), rules(), DAY)
    assert chosen is not None
    assert (chosen.left, chosen.done) == ("two_femoral", ())


def test_without_a_choice_there_is_nothing_to_tell() -> None:
    assert chosen_of(record("rowan-02"), rules()) is None


@pytest.mark.parametrize(
    ("id", "words"),
    [
        ("two_femoral_one_tibial", "two femoral lengthenings and one tibial lengthening, no growth arrest"),
        ("one_femoral_arrest", "one femoral lengthening, with growth arrest of the other leg"),
        ("arrest", "growth arrest of the other leg"),
        ("no_length_surgery", "no operation for length"),
        ("prosthetic_road", "the prosthetic road"),
        ("nine_femoral", "nine femoral"),
    ],
)
def test_a_course_is_named_in_words(id, words) -> None:
    assert course_words(id, rules()) == words


def test_after_an_operation_the_plan_says_what_was_done_and_follows_what_is_left() -> None:
    plan = planned(child("three_femoral_arrest", LENGTHENING))
    told = next(notice for notice in plan.notices if notice.startswith("Carried out of the course chosen on"))
    left = "two femoral lengthenings, with growth arrest of the other leg"
    assert f"femoral lengthening on {LENGTHENED_ON}. What follows: {left}." in told
    assert plan.recommended is not None
    assert (plan.recommended.id, plan.recommended.summary) == ("two_femoral_arrest", left)
    assert not any("no longer possible" in notice for notice in plan.notices)


def test_a_course_that_was_carried_out_to_its_end_is_told_as_that() -> None:
    plan = planned(child("one_femoral", LENGTHENING.model_copy(update={"date": DAY}), name="oak-12"))
    told = next(notice for notice in plan.notices if notice.startswith("Every operation of the course chosen on"))
    assert f"(one femoral lengthening, no growth arrest) was carried out: femoral lengthening on {DAY}." in told
    assert plan.recommended is not None
    assert f"From here the recommended course is shown: {plan.recommended.summary}." in told


def test_what_is_left_and_no_longer_needed_is_told_with_what_was_done() -> None:
    plan = planned(child("one_femoral_arrest", LENGTHENING.model_copy(update={"date": DAY}), name="oak-12"))
    told = next(notice for notice in plan.notices if notice.startswith("Carried out of the course chosen on"))
    assert f"femoral lengthening on {DAY}. What is left of it (growth arrest of the other leg)" in told
    assert "is no longer needed or possible; the recommended course is shown:" in told


def test_a_course_that_can_no_longer_be_followed_is_told_with_what_is_possible() -> None:
    plan = planned(child("nine_femoral", name="oak-12"))
    told = next(notice for notice in plan.notices if "is no longer possible" in notice)
    assert told.startswith(f"The course chosen on {CHOSEN_ON} (nine femoral) is no longer possible;")
    assert all(course.summary in told for course in plan.alternatives)


def test_a_later_wish_for_fewer_lengthenings_bounds_a_course_that_was_chosen() -> None:
    known = child("three_femoral_arrest", LENGTHENING)
    fewer = Decision(date=DAY, by="family", kind="at_most_lengthenings", number=0, reason="enough")
    plan = planned(known.model_copy(update={"decisions": (*known.decisions, fewer)}))
    told = next(notice for notice in plan.notices if notice.startswith("Carried out of the course chosen on"))
    assert "is no longer needed or possible" in told
    to_come = [one for one in plan.stages if one.kind == "femoral_lengthening" and one.date and not one.begun]
    assert to_come == []
