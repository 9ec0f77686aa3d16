"""Guided growth: windows, films, the allowance, and what it asks for."""

from __future__ import annotations

from itertools import pairwise

import pytest

from pathway.days import age_years
from pathway.problems import Refused
from pathway.protocol.question import Question
from pathway.worksheets import guided_growth
from pathway.worksheets.case import case_of
from pathway.worksheets.sheet import Sheet
from tests.examples import example
from tests.sample import HEALTHY, at_age, child, visit
from tests.worksheets.cases import KNOWN_WIDTH, protocol, sheet


def rows(made: Sheet, section: str) -> tuple[tuple[object, ...], ...]:
    return made.section(section).tables[0].rows


def test_guided_growth_tells_a_window_and_the_average_miss() -> None:
    line = sheet("guided-growth", KNOWN_WIDTH).line("Months until straight")
    assert line.spread is not None
    low, high = line.spread
    assert isinstance(line.value, float)
    assert low <= line.value - 2.3  # type: ignore[operator]
    assert high >= line.value + 2.3  # type: ignore[operator]
    assert "2.3 months on average" in line.note


def test_guided_growth_at_a_steady_rate_is_the_formula() -> None:
    known = {"width_mm": "70", "angle_deg": "8", "yearly_mm": "10", "over_deg": "0"}
    made = sheet("guided-growth", known)
    # tan(8 deg) x 70 mm = 9.84 mm, at 10 mm a year 11.8 months.
    assert made.line("Months until straight").value == pytest.approx(11.81, abs=0.01)
    assert made.line("Correction per month").value == pytest.approx(0.68, abs=0.005)


def test_films_follow_the_protocol_every_three_months() -> None:
    dates = [row[0] for row in rows(sheet("guided-growth", KNOWN_WIDTH), "Visits")]
    ages = [age_years(example("rowan-02").child.date_of_birth, day) for day in dates]  # type: ignore[arg-type]
    assert [12 * (b - a) for a, b in pairwise(ages)] == pytest.approx([3] * (len(ages) - 1), abs=0.1)


def test_the_allowance_for_rebound_is_for_young_children() -> None:
    young = sheet("guided-growth", KNOWN_WIDTH)
    old = sheet("guided-growth", {**KNOWN_WIDTH, "start_on": "2036-03-01"})
    assert (young.input("over_deg").value, old.input("over_deg").value) == (5, 0)


def test_the_angle_is_the_measured_less_the_wanted_one() -> None:
    made = sheet("guided-growth", {"width_mm": "40", "measured_deg": "78"})
    assert made.input("angle_deg").value == 10
    assert any("medial side of the knee (valgus)" in item.text for item in made.warnings)
    with pytest.raises(Refused, match="inside the normal band"):
        sheet("guided-growth", {"width_mm": "40", "measured_deg": "87.8"})


def test_too_late_for_the_angle_is_told() -> None:
    made = sheet("guided-growth", {**KNOWN_WIDTH, "angle_deg": "30", "start_on": "2037-06-01"})
    assert any(item.stop and item.text.startswith("Too late") for item in made.warnings)
    assert made.line("Last useful age").value == "past"


def test_guided_growth_needs_the_width_of_the_plate() -> None:
    with pytest.raises(Refused) as told:
        sheet("guided-growth", {"measured_deg": "78"})
    assert told.value.problems[0].key == "width_mm"


def test_guided_growth_without_any_length_asks_for_the_yearly_growth() -> None:
    bare = case_of(Question(child(visit(at_age(5), HEALTHY)), protocol(), at_age(5.1)))
    with pytest.raises(Refused, match="yearly_mm"):
        guided_growth.worksheet(bare, KNOWN_WIDTH)
    assert guided_growth.worksheet(bare, {**KNOWN_WIDTH, "yearly_mm": "10"}).line("Months until straight").value
