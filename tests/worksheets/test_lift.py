"""Lifts: heights by difference and by date."""

from __future__ import annotations

import pytest

from pathway.problems import Refused
from pathway.protocol.question import Question
from pathway.worksheets.case import case_of
from pathway.worksheets.kinds import KINDS
from pathway.worksheets.lift import worksheet as lift
from pathway.worksheets.sheet import Sheet
from tests.examples import ON
from tests.sample import HEALTHY, at_age, child, visit
from tests.worksheets.cases import by_hand, planned, protocol, sheet


def rows(made: Sheet, section: str) -> tuple[tuple[object, ...], ...]:
    return made.section(section).tables[0].rows


@pytest.mark.parametrize(
    ("mm", "height", "worn"),
    [
        # Hesperian p. 549: none below 2 cm, then about 1 cm less than the difference; from 5 and 10 cm common practice.
        (19, 0, "no lift"),
        (20, 10, "lift on the shoe"),
        (49, 35, "lift on the shoe"),
        (50, 40, "orthosis with a built-up foot"),
        (99, 85, "orthosis with a built-up foot"),
        (100, 90, "extension prosthesis"),
    ],
)
def test_the_lift_of_today(mm: float, height: float, worn: str) -> None:
    made = sheet("lift", {"difference_mm": str(mm)})
    assert made.line("Lift").value == height
    assert made.line("Worn as").value == worn
    assert made.line("Left uncorrected on purpose").value == mm - height


def test_lifts_by_date_follow_the_plan() -> None:
    found = rows(sheet("lift"), "By date")
    points = {point.date: point.with_plan_mm.p50 for point in planned()[0].growth.by_age}
    assert found[0][0] == ON
    assert all(row[2] == points[row[0]] for row in found)  # type: ignore[index]
    assert all(row[4] + row[5] == pytest.approx(abs(row[2])) for row in found)  # type: ignore[operator,arg-type]


def test_without_a_plan_the_natural_course_is_shown() -> None:
    made = lift.worksheet(by_hand(), {})
    assert made.section("By date").tables[0].title == "Lift by date, without operations"
    heights = [row[4] for row in rows(made, "By date")]
    assert heights == sorted(heights)  # type: ignore[type-var]


def test_limits_of_lifts_out_of_order_are_told() -> None:
    with pytest.raises(Refused, match="in ascending order"):
        sheet("lift", {"shoe_most_mm": "80", "prosthesis_from_mm": "60"})


def test_a_lift_without_any_length_asks_for_the_difference() -> None:
    bare = case_of(Question(child(visit(at_age(5), HEALTHY)), protocol(), at_age(5.1)))
    with pytest.raises(Refused, match="difference_mm"):
        KINDS["lift"].make(bare, {})
