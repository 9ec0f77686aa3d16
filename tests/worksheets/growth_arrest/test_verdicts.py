"""Now, at the next visit, or too late: for each method in one table, with the age it was published with."""

from __future__ import annotations

import datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathway.days import age_years
from pathway.growth import growth_curve
from pathway.protocol.question import Question
from pathway.worksheets.case import case_of
from pathway.worksheets.growth_arrest import worksheet as growth_arrest
from pathway.worksheets.growth_arrest.methods import (
    MatureLegs,
    by_annual_rule,
    by_growth_remaining,
    by_multiplier,
    by_straight_line,
)
from pathway.worksheets.growth_arrest.verdicts import OWN, verdict
from pathway.worksheets.sheet import Sheet
from tests.sample import HEALTHY, LEGS, at_age, child, visit
from tests.worksheets.cases import growth_of, protocol

METHODS = [
    OWN,
    "multiplier method",
    "straight-line method",
    "growth-remaining method, mean child",
    "annual-growth rule",
]


def boy(years: float, skeletal: float | None = None, **settings: str) -> Sheet:
    """Return the sheet of a boy of an age, his skeletal age read by the atlas on the day or never."""
    legs = {**HEALTHY, **LEGS, "affected.femur_length_mm": 385.0, "other.femur_length_mm": 410.0}
    seen = visit(at_age(years), legs)
    if skeletal is not None:
        seen = seen.model_copy(update={"skeletal_age_years": skeletal, "skeletal_age_method": "hand_atlas"})
    record, on = child(seen), at_age(years)
    case = case_of(Question(record, protocol(), on), posterior=growth_of(record, on))
    return growth_arrest.worksheet(case, {"correction_mm": "25", "physes": "distal_femur", **settings})


def table(made: Sheet) -> tuple[tuple[object, ...], ...]:
    return made.section("Now or later").tables[0].rows


@pytest.mark.parametrize(
    ("now", "following", "after", "said"),
    [
        (20, 15, 10, "too late"),
        (25, 20, 15, "now"),
        (30, 25, 20, "at the next visit"),
        (40, 35, 30, "not yet"),
        (24.6, 20, 15, "now"),
        (24.4, 20, 15, "too late"),
        (None, 20, 15, "not known"),
    ],
)
def test_the_verdict_by_what_a_closure_still_takes(
    now: float | None, following: float, after: float, said: str
) -> None:
    assert verdict(25, now, following, after) == said


def test_every_method_has_a_row_with_its_day_and_effects() -> None:
    rows = table(boy(11.0))
    assert [row[0] for row in rows] == METHODS
    for row in rows:
        assert isinstance(row[2], datetime.date)
        assert row[3] > row[4]  # type: ignore[operator]


@pytest.mark.parametrize("years", [10.0, 11.5, 12.5, 13.5, 14.5])
def test_the_verdict_agrees_with_the_day(years: float) -> None:
    made = boy(years)
    today, first, second = (at_age(years + k / 2) for k in range(3))
    for row in table(made):
        day, said = row[2], str(row[5])
        if day == "past":
            assert said.startswith("too late")
            continue
        if day == "today":
            assert said == "now"
            continue
        assert isinstance(day, datetime.date)
        # Half a millimetre of rounding is a few weeks.
        slack = datetime.timedelta(days=45)
        if said == "now":
            assert today - slack <= day <= first + slack
        if said == "at the next visit":
            assert first - slack <= day <= second + slack
        if said == "not yet":
            assert day >= second - slack


def test_the_annual_rule_by_hand() -> None:
    # Boy of 12.0 years: plates of the distal femur stop at 16, 9 mm a year (Menelaus 1966; Birch 2021): 36 mm now,
    # 31.5 mm in half a year; 25 mm at 13.22 years, between the second and third visit.
    row = table(boy(12.0))[4]
    assert (row[3], row[4]) == (pytest.approx(36, abs=0.1), pytest.approx(31.5, abs=0.1))
    assert age_years(at_age(0), row[2]) == pytest.approx(16 - 25 / 9, abs=0.01)  # type: ignore[arg-type]
    assert row[5] == "not yet"


def test_methods_published_with_skeletal_age_use_it_and_are_marked() -> None:
    known, unknown = table(boy(12.0, 13.5)), table(boy(12.0))
    assert [row[1] for row in known] == ["skeletal in part", "calendar", "skeletal", "skeletal", "skeletal"]
    assert [row[1] for row in unknown] == ["calendar", "calendar", *["calendar, not skeletal"] * 3]
    # A year and a half ahead: 9 x 1.5 = 13.5 mm less by the annual rule.
    assert unknown[4][3] - known[4][3] == pytest.approx(13.5, abs=0.1)  # type: ignore[operator]
    assert known[1] == unknown[1] or known[1][1] == "calendar"


def test_the_same_boy_is_in_time_by_the_calendar_and_too_late_by_his_bones() -> None:
    assert str(table(boy(12.5, 14.5))[4][5]).startswith("too late, 1")
    assert table(boy(12.5))[4][5] == "at the next visit"


def test_a_skeletal_age_given_by_hand_is_of_today_and_for_the_methods_alone() -> None:
    by_hand, read = table(boy(12.0, skeletal_age_years="13.5")), table(boy(12.0, 13.5))
    # The two that take no length from the projection, which a reading of the record shifts too.
    assert [row[2:] for row in by_hand[3:]] == [row[2:] for row in read[3:]]
    assert by_hand[0] == table(boy(12.0))[0]


def test_a_skeletal_age_far_from_the_calendar_is_questioned() -> None:
    assert any("check the hand film" in item.text for item in boy(9.0, skeletal_age_years="13").warnings)
    assert not any("check the hand film" in item.text for item in boy(12.0, skeletal_age_years="13").warnings)


def test_methods_that_disagree_are_told() -> None:
    made = boy(13.0)
    verdicts = {str(row[5]).split(",")[0] for row in table(made)}
    assert len(verdicts) > 1
    assert any(item.text.startswith("The methods disagree on when to operate") for item in made.warnings)
    same = boy(15.8)
    assert {str(row[5]).split(",")[0] for row in table(same)} == {"too late"}
    assert not any("methods disagree on when" in item.text for item in same.warnings)


def test_the_next_visit_may_be_set() -> None:
    soon, late = table(boy(12.0, next_visit_months="1")), table(boy(12.0, next_visit_months="24"))
    assert soon[4][3] == late[4][3]
    assert soon[4][4] - late[4][4] == pytest.approx(9 * 23 / 12, abs=0.1)  # type: ignore[operator]


def test_what_was_never_there_is_not_past() -> None:
    rows = table(boy(12.0, correction_mm="150", physes="proximal_tibia"))
    assert {row[2] for row in rows[1:]} <= {"never", "past"}
    assert all(str(row[5]).startswith("too late") for row in rows)


@settings(max_examples=60, deadline=None)
@given(mm=st.floats(5, 60), plates=st.integers(0, 2), sex=st.sampled_from(("boy", "girl")))
def test_a_closure_at_the_age_that_a_method_names_takes_the_wanted_amount(mm: float, plates: int, sex: str) -> None:
    curve = growth_curve(protocol(), sex, "table")  # type: ignore[arg-type]
    legs = MatureLegs(500.0, 400.0)
    for said in (
        by_multiplier(protocol(), curve, legs, mm),
        by_straight_line(protocol(), curve, legs, mm),
        by_growth_remaining(protocol(), curve, mm),
        by_annual_rule(protocol(), curve, mm),
    ):
        age = said.ages[plates]
        if age is not None:
            assert said.taken(age)[plates] == pytest.approx(mm, abs=0.05), said.name


@settings(max_examples=60, deadline=None)
@given(age=st.floats(1, 17), later=st.floats(0, 3), plates=st.integers(0, 2))
def test_a_later_closure_takes_no_more_by_any_method(age: float, later: float, plates: int) -> None:
    curve = growth_curve(protocol(), "boy", "table")
    for said in (
        by_multiplier(protocol(), curve, MatureLegs(500, 400), 30),
        by_straight_line(protocol(), curve, MatureLegs(500, 400), 30),
        by_growth_remaining(protocol(), curve, 30),
        by_annual_rule(protocol(), curve, 30),
    ):
        now, then = said.taken(age)[plates], said.taken(age + later)[plates]
        assert now is None or then is None or then <= now + 1e-9
