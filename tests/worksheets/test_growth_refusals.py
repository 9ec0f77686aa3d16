"""What the sheets of guided growth and growth arrest refuse: one sentence with field, found, expected, what to do."""

from __future__ import annotations

import datetime

import pytest

from pathway.problems import Refused
from pathway.protocol.question import Question
from pathway.worksheets.case import case_of
from pathway.worksheets.kinds import KINDS
from pathway.worksheets.sheet import Kind
from tests.examples import ON
from tests.sample import HEALTHY, at_age, child, visit
from tests.worksheets.cases import by_hand, protocol

GUIDED: dict[str, str] = {"width_mm": "40", "measured_deg": "80"}
ARREST: dict[str, str] = {"correction_mm": "40", "physes": "distal_femur"}
BEFORE = str(ON - datetime.timedelta(days=1))

BAD: list[tuple[Kind, str, str, str, str]] = [
    # sheet, input, text, expected, what to do
    ("guided-growth", "physis", "distal femur", "one of distal_femur, proximal_tibia", "correct it"),
    ("guided-growth", "physis", "proximal_femur", "one of distal_femur, proximal_tibia", "correct it"),
    ("guided-growth", "physis", "", "one of distal_femur, proximal_tibia", "correct it"),
    ("guided-growth", "measured_deg", "54", "a number from 55 to 120 deg", "correct it"),
    ("guided-growth", "measured_deg", "121", "a number from 55 to 120 deg", "correct it"),
    ("guided-growth", "measured_deg", "80 deg", "a number from 55 to 120 deg", "correct it"),
    ("guided-growth", "measured_deg", "nan", "a number from 55 to 120 deg", "correct it"),
    ("guided-growth", "measured_deg", "-80", "a number from 55 to 120 deg", "correct it"),
    ("guided-growth", "measured_deg", "88", "an angle outside 84.0 to 93.7 deg", "film again in 12 months"),
    ("guided-growth", "measured_deg", "93", "an angle outside 84.0 to 93.7 deg", "film again in 12 months"),
    ("guided-growth", "measured_deg", "83", "an angle outside 84.0 to 93.7 deg", "film again in 6 months"),
    ("guided-growth", "measured_deg", "94.5", "an angle outside 84.0 to 93.7 deg", "film again in 6 months"),
    ("guided-growth", "goal_deg", "79", "a number from 80 to 100 deg", "correct it"),
    ("guided-growth", "goal_deg", "101", "a number from 80 to 100 deg", "correct it"),
    ("guided-growth", "goal_deg", "straight", "a number from 80 to 100 deg", "correct it"),
    ("guided-growth", "goal_deg", "80.5", "more than the reading error of ±1.06 deg", "film again in 6 months"),
    ("guided-growth", "angle_deg", "0", "a number from 0.5 to 45 deg", "correct it"),
    ("guided-growth", "angle_deg", "46", "a number from 0.5 to 45 deg", "correct it"),
    ("guided-growth", "angle_deg", "-8", "a number from 0.5 to 45 deg", "correct it"),
    ("guided-growth", "angle_deg", "8,5", "a number from 0.5 to 45 deg", "correct it"),
    ("guided-growth", "width_mm", "14", "a number from 15 to 110 mm", "correct it"),
    ("guided-growth", "width_mm", "400", "a number from 15 to 110 mm", "correct it"),
    ("guided-growth", "width_mm", "4 cm", "a number from 15 to 110 mm", "correct it"),
    ("guided-growth", "width_mm", "inf", "a number from 15 to 110 mm", "correct it"),
    ("guided-growth", "yearly_mm", "0", "a number from 1 to 25 mm per year", "correct it"),
    ("guided-growth", "yearly_mm", "26", "a number from 1 to 25 mm per year", "correct it"),
    ("guided-growth", "start_on", "1.3.2027", "a date (YYYY-MM-DD)", "correct it"),
    ("guided-growth", "start_on", "2027-02-30", "a date (YYYY-MM-DD)", "correct it"),
    ("guided-growth", "start_on", BEFORE, f"{ON} or later", "--set start_on=YYYY-MM-DD"),
    ("guided-growth", "start_on", "1999-01-01", f"{ON} or later", "--set start_on=YYYY-MM-DD"),
    ("guided-growth", "start_on", "2060-01-01", "a day before 20 years", "--set start_on=YYYY-MM-DD"),
    ("guided-growth", "over_deg", "-1", "a number from 0 to 10 deg", "correct it"),
    ("guided-growth", "over_deg", "11", "a number from 0 to 10 deg", "correct it"),
    ("guided-growth", "window_months", "0", "a number from 1 to 12 months", "correct it"),
    ("guided-growth", "window_months", "13", "a number from 1 to 12 months", "correct it"),
    ("growth-arrest", "correction_mm", "0", "a number from 1 to 150 mm", "correct it"),
    ("growth-arrest", "correction_mm", "151", "a number from 1 to 150 mm", "correct it"),
    ("growth-arrest", "correction_mm", "-40", "a number from 1 to 150 mm", "correct it"),
    ("growth-arrest", "correction_mm", "4cm", "a number from 1 to 150 mm", "correct it"),
    ("growth-arrest", "correction_mm", "nan", "a number from 1 to 150 mm", "correct it"),
    ("growth-arrest", "physes", "femur", "one of distal_femur, proximal_tibia, both", "correct it"),
    ("growth-arrest", "physes", "proximal_fibula", "one of distal_femur, proximal_tibia, both", "correct it"),
    (
        "growth-arrest",
        "physes",
        "distal_femur,proximal_tibia",
        "one of distal_femur, proximal_tibia, both",
        "correct it",
    ),
    ("growth-arrest", "skeletal_age_years", "-1", "a number from 0 to 19 years", "correct it"),
    ("growth-arrest", "skeletal_age_years", "20", "a number from 0 to 19 years", "correct it"),
    ("growth-arrest", "skeletal_age_years", "12 y", "a number from 0 to 19 years", "correct it"),
    ("growth-arrest", "next_visit_months", "0", "a number from 1 to 24 months", "correct it"),
    ("growth-arrest", "next_visit_months", "25", "a number from 1 to 24 months", "correct it"),
    ("growth-arrest", "next_visit_months", "soon", "a number from 1 to 24 months", "correct it"),
    ("growth-arrest", "shift_months", "0.5", "a number from 1 to 24 months", "correct it"),
    ("growth-arrest", "shift_months", "36", "a number from 1 to 24 months", "correct it"),
]
UNKNOWN: list[tuple[Kind, str, str]] = [
    ("guided-growth", "measured", "did you mean measured_deg"),
    ("guided-growth", "widht_mm", "did you mean width_mm"),
    ("guided-growth", "goal_degrees", "did you mean goal_deg"),
    ("growth-arrest", "correction", "did you mean correction_mm"),
    ("growth-arrest", "skeletal_age", "did you mean skeletal_age_years"),
    ("growth-arrest", "next_visit", "did you mean next_visit_months"),
    ("growth-arrest", "colour", "use one of these names"),
]


@pytest.mark.parametrize(("kind", "name", "text", "expected", "do"), BAD)
def test_a_bad_value_is_refused_with_field_found_expected_and_what_to_do(
    kind: Kind, name: str, text: str, expected: str, do: str
) -> None:
    base = GUIDED if kind == "guided-growth" else ARREST
    with pytest.raises(Refused) as told:
        KINDS[kind].make(by_hand(), {**base, name: text})
    (fault,) = told.value.problems
    # A target too near to what was measured is told at the angle measured.
    assert fault.key == (name if text != "80.5" else "measured_deg")
    assert expected in fault.expected
    assert do in fault.remedy
    assert fault.found
    sentence = str(told.value)
    assert "\n" not in sentence
    assert f"worksheet {kind}" in sentence


@pytest.mark.parametrize(("kind", "name", "do"), UNKNOWN)
def test_an_unknown_name_is_refused_with_the_one_that_was_meant(kind: Kind, name: str, do: str) -> None:
    with pytest.raises(Refused) as told:
        KINDS[kind].make(by_hand(), {name: "1"})
    (fault,) = told.value.problems
    assert (fault.key, fault.found) == ("--set", f"the input {name!r}")
    assert do in fault.remedy


@pytest.mark.parametrize(
    ("kind", "settings", "key", "do"),
    [
        ("guided-growth", {"measured_deg": "80"}, "width_mm", "--set width_mm="),
        ("guided-growth", {"width_mm": "40", "physis": "proximal_tibia"}, "angle_deg", "--set angle_deg="),
        ("growth-arrest", {}, "correction_mm", "--set correction_mm="),
    ],
)
def test_what_is_missing_is_asked_for(kind: Kind, settings: dict[str, str], key: str, do: str) -> None:
    with pytest.raises(Refused) as told:
        KINDS[kind].make(by_hand(), settings)
    assert told.value.problems[0].key == key
    assert do in told.value.problems[0].remedy


@pytest.mark.parametrize(
    ("kind", "settings", "expected"),
    [
        ("guided-growth", GUIDED, "a yearly growth of the plate, or leg lengths from which it is projected"),
        ("growth-arrest", ARREST, "at least one measured length"),
    ],
)
def test_a_child_without_any_length_is_refused_with_what_to_measure(
    kind: Kind, settings: dict[str, str], expected: str
) -> None:
    bare = case_of(Question(child(visit(at_age(2.7), HEALTHY)), protocol(), at_age(2.7)))
    with pytest.raises(Refused, match=expected):
        KINDS[kind].make(bare, settings)


def test_every_fault_is_told_at_once() -> None:
    with pytest.raises(Refused) as told:
        KINDS["guided-growth"].make(by_hand(), {"width_mm": "4", "over_deg": "99", "start_on": "soon"})
    assert [fault.key for fault in told.value.problems] == ["width_mm", "over_deg", "start_on"]


def test_there_are_enough_of_them() -> None:
    assert len(BAD) + len(UNKNOWN) >= 40
