"""What a lengthening's sheet says where a measurement is missing: ranges and what to measure, in place of a refusal."""

from __future__ import annotations

import datetime

import pytest

from pathway.problems import Refused
from pathway.protocol.question import Question
from pathway.worksheets.case import Case, case_of
from pathway.worksheets.lengthening import worksheet as lengthening
from pathway.worksheets.sheet import Sheet
from tests.sample import at_age, child, visit
from tests.worksheets.cases import by_hand, case, growth_of, planned, protocol
from tests.worksheets.lengthening.sheets import BASE, hand

TIBIA_ALONE = {"affected.tibia_length_mm": 160.0, "other.tibia_length_mm": 175.0}
ON = at_age(5) + datetime.timedelta(days=30)
SET = {"amount_mm": "40", "operation_on": str(at_age(6))}


def unmeasured(known: dict[str, float]) -> Case:
    record = child(visit(at_age(5), known))
    return case_of(Question(record, protocol(), ON), posterior=growth_of(record, ON))


def said(made: Sheet) -> str:
    return " ".join(warning.text for warning in made.warnings)


def test_a_femur_that_was_never_measured_gives_the_share_as_a_range() -> None:
    made = lengthening.worksheet(unmeasured(TIBIA_ALONE), SET)
    line = made.line("Share of the bone")
    assert line.value is None
    assert line.spread is not None
    low, high = line.spread
    assert isinstance(low, float) and isinstance(high, float)
    assert 0 < low < high < 100
    assert "90 of 100 children like this one" in line.note
    assert "give it with --set femur_mm=" in said(made)


def test_the_measured_length_lies_in_what_would_be_said_without_it() -> None:
    made = lengthening.worksheet(unmeasured(TIBIA_ALONE), {**SET, "femur_mm": "200"})
    assert made.line("Share of the bone").value == 20.0
    assert "femur_mm" not in said(made)


def test_where_nothing_was_ever_measured_the_sheet_says_so_and_is_made() -> None:
    made = lengthening.worksheet(unmeasured({}), SET)
    line = made.line("Share of the bone")
    assert (line.value, line.spread) == (None, None)
    assert "Limits by share of the bone are not judged" in said(made)
    assert len(made.section("Calendar of turns").tables[0].rows) == 40
    assert not any(limit.rule.startswith("femoral_lengthening.share") for limit in made.warnings)


def test_limits_by_share_are_judged_at_the_shortest_that_the_bone_may_be() -> None:
    made = lengthening.worksheet(unmeasured(TIBIA_ALONE), {**SET, "amount_mm": "70"})
    assert {"femoral_lengthening.share_20", "femoral_lengthening.share_30"} <= {item.rule for item in made.warnings}


def test_without_the_tibia_the_shift_of_the_axis_is_a_range_that_holds_it() -> None:
    known = hand(femur_mm="200", tibia_mm="180").line("By geometry, axis passes further outward").value
    case = unmeasured({"affected.femur_length_mm": 200.0, "other.femur_length_mm": 215.0})
    made = lengthening.worksheet(case, {**BASE, "femur_mm": "200"})
    line = made.line("By geometry, axis passes further outward")
    assert line.value is None
    assert line.spread is not None
    assert line.spread[0] <= known <= line.spread[1]  # type: ignore[operator]
    assert "give it with --set tibia_mm=" in line.note


@pytest.mark.parametrize("title", ["Axis of the leg", "Lift"])
def test_a_part_that_cannot_be_worked_out_is_still_there_and_says_what_it_needs(title: str) -> None:
    section = lengthening.worksheet(unmeasured({}), SET).section(title)
    words = " ".join((*section.words, *(line.note for line in section.lines)))
    assert "--set" in words


def test_a_recorded_plan_needs_nothing_more() -> None:
    assert "--set" not in said(lengthening.worksheet(by_hand(), BASE))


def test_an_operation_can_be_up_to_the_last_day_planned() -> None:
    opened, plan = case("lengthening"), planned()[0]
    last = max(stage.date for stage in plan.stages if stage.date is not None)
    latest = lengthening.worksheet(opened, {"operation_on": str(last)})
    assert latest.input("operation_on").value == last
    with pytest.raises(Refused, match="after the last year planned"):
        lengthening.worksheet(opened, {"operation_on": str(last + datetime.timedelta(days=365))})
