"""Every row, card and sentence that holds a burden and a chance has both from the same `expected`."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from pathway.courses.course import NO_SURGERY
from pathway.plan.model import Course, Expected, Plan, Spread
from pathway.plan.of_100 import of_100
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.questions.what_if import WhatIf, what_if
from pathway.views.documents.summary import SHOWN_COURSES
from pathway.views.family.choices import table
from pathway.views.family.story import story_of
from pathway.views.pictures.course_cards import facts
from pathway.views.words.courses import courses_text
from pathway.views.words.expected import short_words, spread_words
from pathway.views.words.plan import path_words, usual_words
from pathway.views.words.wording import wording
from tests.examples import NAMES, ON, example, example_plan
from tests.views.documents.made import team, words_of

CHANCE = re.compile(r"of 100\b")
BURDEN = re.compile(r"(operations?\b|months with a device)")


def courses(name: str) -> Iterator[tuple[Plan, Course, Expected]]:
    plan = example_plan(name)
    for course in plan.alternatives:
        if course.expected is not None:
            yield plan, course, course.expected


def few_or_count(per_100: float) -> str:
    """Return a count of 100 as a page tells it: whole children, and words where that would be none."""
    return f"{per_100:.0f}" if round(per_100) else "fewer than 1"


def spreads(told: Expected) -> Iterator[Spread]:
    yield from (told.operations, told.unplanned_operations, told.device_months)
    if told.adult_height_lost_mm is not None:
        yield told.adult_height_lost_mm


@pytest.mark.parametrize("name", NAMES)
class TestEveryCourse:
    def test_every_centre_lies_in_its_band(self, name: str) -> None:
        for _, _, told in courses(name):
            assert all(one.p05 <= one.mean <= one.p95 for one in spreads(told))
            assert all(one.low <= one.per_100 <= one.high for one in told.harms)
            assert told.unplanned_operations.mean <= told.operations.mean
            assert told.months_over_100_mm <= told.months_over_50_mm
            assert 0 <= told.chance_within_10_mm <= told.chance_within_20_mm <= 1

    def test_a_range_as_written_holds_its_centre(self, name: str) -> None:
        for _, _, told in courses(name):
            for one in spreads(told):
                for digits in (0, 1):
                    mean, low, high = map(float, re.findall(r"\d+(?:\.\d+)?", spread_words(one, digits)))
                    assert low <= mean <= high

    def test_the_card_is_of_one_world(self, name: str) -> None:
        for plan, course, told in courses(name):
            card = dict(facts(plan, course))
            assert card["Length operations"] == spread_words(told.operations, 1)
            assert card["Months with device"] == spread_words(told.device_months, 0)
            assert card["Months over 5 cm"] == f"{told.months_over_50_mm:.0f}"
            assert card["Within 2 cm, about"] == f"{100 * told.chance_within_20_mm:.0f} of 100"
            assert "School years" not in card  # known of the path only

    def test_the_sentences_are_each_of_one_world(self, name: str) -> None:
        """What holds a chance has the operations of `expected`; what says "every step works" holds no chance."""
        for plan, course, told in courses(name):
            for text in (usual_words(course), short_words(course)):
                assert CHANCE.search(text) and BURDEN.search(text)
                assert spread_words(told.operations, 1) in text
                assert spread_words(told.device_months, 0) in text
                assert f"about {100 * told.chance_within_20_mm:.0f}" in text
            path = course.if_every_step_works
            assert path is not None
            assert f"{path.operations} operation" in path_words(course)
            assert not CHANCE.search(path_words(course))
            assert path.operations == course.burden.operations
            assert path.residual_mm == course.median_residual_mm
            assert plan.on == ON

    def test_the_familys_row_is_of_one_world(self, name: str) -> None:
        story = story_of(example_plan(name), load_protocol())
        for choice, row in zip(story.choices, table(story, wording()).rows, strict=True):
            told = None if choice.course is None else choice.course.expected
            if told is None or choice.kind == "nothing":
                continue
            _, operations, months, _, chance, harm = row
            assert operations.split()[0] == f"{round(told.operations.mean)}"
            assert months.split()[0] == f"{round(told.device_months.mean)}"
            assert chance == few_or_count(100 * told.chance_within_20_mm)
            lasting = next((one.children for one in told.harms if one.id == "lasting_harm"), None)
            assert harm == ("–" if lasting is None else few_or_count(lasting.best))

    def test_no_line_of_the_summary_mixes_worlds(self, name: str) -> None:
        said = words_of(team(name))
        for course in example_plan(name).alternatives[:SHOWN_COURSES]:
            assert short_words(course) in said

    def test_a_chance_is_the_one_told_elsewhere(self, name: str) -> None:
        for _, course, told in courses(name):
            assert told.chance_within_20_mm == course.chance_within_20_mm
            assert course.usually is not None
            in_all = course.usually.planned_operations + course.usually.unplanned_operations
            assert told.operations.mean == pytest.approx(in_all, abs=0.11)

    def test_nothing_more_has_no_lengthening(self, name: str) -> None:
        for _, course, told in courses(name):
            if course.id == NO_SURGERY:
                assert course.programme == "nothing_more"
                assert told.operations.mean == told.device_months.mean == 0
                assert [(one.lengthenings, one.share) for one in course.lengthenings_needed] == [(0, 1.0)]

    def test_programmes_of_print_are_named_with_what_they_rule_out_and_none_is_chosen(self, name: str) -> None:
        printed = {one.id: one for one in load_protocol().printed_programmes}
        for course in example_plan(name).alternatives:
            if course.programme:
                assert course.rules_out == printed[course.programme].rules_out
                assert course.programme_label == printed[course.programme].label
                assert not (course.recommended and course.id == course.programme)


@pytest.mark.parametrize("width", [60, 80, 100, 140])
def test_each_row_of_the_printed_table_is_of_one_world(width: int) -> None:
    plan = example_plan("willow-03")
    answer = what_if(Question(example("willow-03"), load_protocol(), ON), WhatIf())
    cards = courses_text(answer, width).split("What usually happens, of one")[0]
    assert all(len(line) <= width for line in cards.splitlines())
    rows = [line for line in cards.splitlines() if re.search(r"\(\d+-\d+\)", line)]
    assert len(rows) == len(plan.alternatives)
    for row, course in zip(rows, plan.alternatives, strict=True):
        assert course.expected is not None
        assert spread_words(course.expected.operations, 1) in row
        assert f" {100 * course.expected.chance_within_20_mm:.0f}" in row
        assert spread_words(course.expected.device_months, 0) in row


def test_what_print_counts_stands_beside_chances_that_are_compared() -> None:
    """Depaoli 2024: 38 of 50 adults within 2 cm; Catagni 2011: 70 lengthenings and 6 operations each in 32 children."""
    willow, birch = (example_plan(name).printed_results for name in ("willow-03", "birch-04"))
    assert any("38 of 50" in one.text for one in willow)
    assert not any("70 lengthenings" in one.text for one in willow)  # of another diagnosis
    assert {"catagni_2011.course.lengthenings", "catagni_2011.course.all_operations"} <= {one.id for one in birch}
    cited = {source.id for source in example_plan("birch-04").sources}
    assert all(set(one.sources) <= cited for one in birch)


def test_a_plan_stored_before_still_reads() -> None:
    plan = example_plan("hazel-08")
    new = {"expected", "if_every_step_works", "programme", "programme_label", "rules_out"}
    data = plan.model_dump(mode="json")
    data.pop("printed_results")
    data["alternatives"] = [{k: v for k, v in one.items() if k not in new} for one in data["alternatives"]]
    old = Plan.model_validate(data)
    course = old.alternatives[0]
    assert course.expected is None and course.programme == ""
    assert usual_words(course).startswith("What usually happens")
    assert dict(facts(old, course))["Length operations"] == "-"


def test_parts_of_100_add_up() -> None:
    assert of_100({1: 0.335, 2: 0.335, 3: 0.33}) == {1: 34, 2: 33, 3: 33}
    assert sum(of_100({0: 0.066, 1: 0.067, 2: 0.867}).values()) == 100
