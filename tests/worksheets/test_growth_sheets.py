"""Growth arrest, guided growth and lifts: dates, windows, heights."""

from __future__ import annotations

import datetime
from itertools import pairwise

import pytest

from pathway.days import age_years
from pathway.problems import Refused
from pathway.protocol.question import Question
from pathway.worksheets import guided_growth
from pathway.worksheets.case import case_of
from pathway.worksheets.growth_arrest import worksheet as growth_arrest
from pathway.worksheets.kinds import KINDS
from pathway.worksheets.lift import worksheet as lift
from pathway.worksheets.sheet import Sheet
from tests.examples import ON, example
from tests.sample import HEALTHY, LEGS, at_age, child, visit
from tests.worksheets.cases import KNOWN_WIDTH, by_hand, growth_of, planned, protocol, sheet


def rows(made: Sheet, section: str) -> tuple[tuple[object, ...], ...]:
    return made.section(section).tables[0].rows


def test_the_arrest_of_the_plan_has_its_amount_plates_and_nearly_its_date() -> None:
    made, stage = sheet("growth-arrest"), planned()[0].stage("contralateral_growth_arrest")
    assert made.input("correction_mm").value == stage.amount_mm
    assert made.input("physes").value == "distal_femur"
    assert made.side == example("rowan-02").other_side
    chosen = next(row for row in rows(made, "When") if row[0] == "distal femur")
    assert isinstance(chosen[2], datetime.date)
    assert stage.date is not None
    assert abs((chosen[2] - stage.date).days) <= 10


def test_the_band_of_dates_holds_the_date() -> None:
    for row in rows(sheet("growth-arrest"), "When"):
        date, low, high = row[2:5]
        assert low < date < high  # type: ignore[operator]


def test_early_corrects_more_and_late_less_than_wanted() -> None:
    found = rows(sheet("growth-arrest", {"shift_months": "3"}), "Early or late")
    assert [row[0] for row in found] == [
        "6 months early",
        "3 months early",
        "on the day",
        "3 months late",
        "6 months late",
    ]
    corrected = [row[2] for row in found]
    assert corrected == sorted(corrected, reverse=True)  # type: ignore[type-var]
    assert found[2][2] == pytest.approx(planned()[0].stage("contralateral_growth_arrest").amount_mm, abs=0.5)
    assert found[2][5] == pytest.approx(0, abs=0.5)


def test_classical_methods_stand_beside_it() -> None:
    found = rows(sheet("growth-arrest"), "For comparison")
    assert [row[0] for row in found] == [
        "multiplier method",
        "straight-line method",
        "growth-remaining method, mean child",
        "annual-growth rule",
    ]


def arrest_of(skeletal: float | None, *, read_at: float = 12.0) -> Sheet:
    """Return the sheet of a boy of 12.0 years, his skeletal age read by the atlas at an age or never."""
    legs = {**HEALTHY, **LEGS, "affected.femur_length_mm": 385.0, "other.femur_length_mm": 410.0}
    seen = [visit(at_age(12), legs)]
    if skeletal is not None:
        hand = {"skeletal_age_years": skeletal, "skeletal_age_method": "hand_atlas"}
        seen = [visit(at_age(read_at), legs).model_copy(update=hand)]
    record, on = child(*seen), at_age(12.0)
    case = case_of(Question(record, protocol(), on), posterior=growth_of(record, on))
    return growth_arrest.worksheet(case, {"correction_mm": "25", "physes": "distal_femur"})


def test_methods_published_with_skeletal_age_come_sooner_in_an_early_child() -> None:
    calendar, early = rows(arrest_of(None), "For comparison"), rows(arrest_of(13.0), "For comparison")
    assert [row[1] for row in calendar] == ["calendar"] * 4
    assert [row[1] for row in early] == ["calendar", "skeletal", "skeletal", "skeletal"]
    # The annual rule has no length in it: a year ahead is a year sooner (9 mm a skeletal year, Birch et al. 2021).
    end, yearly = (protocol().number(f"annual_rule_{id}") for id in ("end_boys_years", "distal_femur_mm"))
    dates = [found[3][5] for found in (calendar, early)]
    born = at_age(0)
    assert [age_years(born, day) for day in dates] == pytest.approx(  # type: ignore[arg-type]
        [end - 25 / yearly, end - 25 / yearly - 1.0], abs=0.01
    )


def test_the_dates_assume_that_the_difference_stays_and_say_so() -> None:
    note = arrest_of(13.0).section("For comparison").tables[0].note
    assert "13.0 years on" in note
    assert "hand atlas, read ±0.4 years" in note
    assert "1.0 years ahead of the calendar" in note
    assert "difference stays the same" in note
    assert "1.0 years behind" in arrest_of(11.0).section("For comparison").tables[0].note


def test_a_skeletal_age_of_long_ago_leaves_the_methods_at_the_calendar() -> None:
    made = arrest_of(12.0, read_at=10.5).section("For comparison").tables[0]
    assert [row[1] for row in made.rows] == ["calendar"] * 4
    assert "No usable skeletal age is recent enough" in made.note


def test_a_date_that_is_past_is_told_as_past() -> None:
    assert any(row[5] == "past" for row in rows(arrest_of(15.5), "For comparison"))


def test_adult_height_lost_is_the_correction() -> None:
    stage = planned()[0].stage("contralateral_growth_arrest")
    assert sheet("growth-arrest").line("Adult height lost").value == stage.amount_mm


def test_no_skeletal_age_is_warned_of() -> None:
    assert any("No valid skeletal age" in item.text for item in sheet("growth-arrest").warnings)


def test_a_date_that_is_past_is_told_with_what_is_still_possible() -> None:
    old = child(
        visit(at_age(15), {**HEALTHY, **LEGS, "affected.femur_length_mm": 400.0, "other.femur_length_mm": 450.0})
    )
    on = at_age(15.1)
    made = growth_arrest.worksheet(
        case_of(Question(old, protocol(), on), posterior=growth_of(old, on)),
        {"correction_mm": "60", "physes": "proximal_tibia"},
    )
    assert any(item.stop and item.text.startswith("Too late") for item in made.warnings)
    assert made.line("Last useful date, by both plates").value is None


def test_growth_arrest_without_any_length_asks_for_one() -> None:
    bare = case_of(Question(child(visit(at_age(5), HEALTHY)), protocol(), at_age(5.1)))
    with pytest.raises(Refused, match="at least one measured length"):
        growth_arrest.worksheet(bare, {"correction_mm": "40"})


def test_more_than_the_protocol_s_most_is_outside_it() -> None:
    made = sheet("growth-arrest", {"correction_mm": "60"})
    assert any(item.rule == "arrest_most_mm" and item.stop for item in made.warnings)


def test_guided_growth_tells_a_window_and_the_average_miss() -> None:
    line = sheet("guided-growth", KNOWN_WIDTH).line("Months until corrected")
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
    assert made.line("Months until corrected").value == pytest.approx(11.81, abs=0.01)
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
    assert any("inner edge (valgus)" in item.text for item in made.warnings)
    with pytest.raises(Refused, match="a smaller angle needs no plate"):
        sheet("guided-growth", {"width_mm": "40", "measured_deg": "87.8"})


def test_too_late_for_the_angle_is_told() -> None:
    made = sheet("guided-growth", {**KNOWN_WIDTH, "angle_deg": "30", "start_on": "2037-06-01"})
    assert any(item.stop and item.text.startswith("Too late") for item in made.warnings)
    assert made.line("Last useful age").value == "past"


def test_guided_growth_needs_the_width_of_the_plate() -> None:
    with pytest.raises(Refused) as told:
        sheet("guided-growth")
    assert told.value.problems[0].key == "width_mm"


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


def test_guided_growth_without_any_length_asks_for_the_yearly_growth() -> None:
    bare = case_of(Question(child(visit(at_age(5), HEALTHY)), protocol(), at_age(5.1)))
    with pytest.raises(Refused, match="yearly_mm"):
        guided_growth.worksheet(bare, KNOWN_WIDTH)
    assert guided_growth.worksheet(bare, {**KNOWN_WIDTH, "yearly_mm": "10"}).line("Months until corrected").value


def test_the_caution_of_the_wrong_side_stands_on_a_sheet_made_by_hand_too() -> None:
    made = growth_arrest.worksheet(by_hand(), {"correction_mm": "40"})
    assert any("confirm the side twice" in text for text in made.cautions)
    assert any("confirm the side twice" in text for text in sheet("growth-arrest").cautions)
    assert not any("confirm the side twice" in text for text in sheet("lift").cautions)
