"""Growth arrest: dates, bands, what early and late cost, and the classical methods beside it."""

from __future__ import annotations

import datetime

import pytest

from pathway.days import age_years
from pathway.problems import Refused
from pathway.protocol.question import Question
from pathway.worksheets.case import case_of
from pathway.worksheets.growth_arrest import worksheet as growth_arrest
from pathway.worksheets.sheet import Sheet
from tests.examples import example
from tests.sample import HEALTHY, LEGS, at_age, child, visit
from tests.worksheets.cases import by_hand, growth_of, planned, protocol, sheet


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
    assert [row[1] for row in calendar] == ["calendar", *["calendar, not skeletal"] * 3]
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
    assert [row[1] for row in made.rows] == ["calendar", *["calendar, not skeletal"] * 3]
    assert "No usable skeletal age is recent enough" in made.note


def test_a_date_that_is_past_is_told_as_past() -> None:
    assert any(row[5] == "past" for row in rows(arrest_of(15.5), "For comparison"))


def test_adult_height_lost_is_the_correction() -> None:
    stage = planned()[0].stage("contralateral_growth_arrest")
    assert sheet("growth-arrest").line("Adult height lost").value == stage.amount_mm


def test_half_a_millimetre_of_height_is_shown_as_wanted() -> None:
    assert sheet("growth-arrest", {"correction_mm": "42.5"}).line("Adult height lost").places == 1
    assert sheet("growth-arrest", {"correction_mm": "40"}).line("Adult height lost").places == 0


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
    lead = made.section("When").lines[0]
    assert (lead.label, lead.value) == ("Date for 60 mm, proximal tibia", None)
    assert lead.note.startswith("past: done today it corrects about ")


def test_the_day_of_the_planned_plates_comes_first_and_that_earlier_overcorrects() -> None:
    made = sheet("growth-arrest")
    mm = float(made.input("correction_mm").value)  # type: ignore[arg-type]
    lead, both, _ = made.section("When").lines
    assert lead.label == f"Date for {mm:g} mm, distal femur"
    assert both.label == f"Date for {mm:g} mm, both knee plates"
    assert (lead.strong, both.strong) == (True, False)
    chosen = next(row for row in rows(made, "When") if row[0] == "distal femur")
    assert (lead.value, lead.spread) == (chosen[2], chosen[3:5])
    today = rows(made, "Now or later")[0][3]
    assert isinstance(today, float)
    assert f"done today it corrects {today:.0f} mm, {today - mm:.0f} mm too much" in lead.note
    assert "earlier overcorrects" in lead.note


def test_both_plates_have_one_day_where_both_are_planned() -> None:
    labels = [line.label for line in sheet("growth-arrest", {"physes": "both"}).section("When").lines]
    assert len(labels) == 2
    assert labels[0].endswith("both knee plates")


def test_too_late_is_said_of_one_plate_and_of_both() -> None:
    for plates, said in (("distal_femur", "closing the distal femur"), ("both", "closing both knee plates")):
        record, on = child(visit(at_age(15.5), {**HEALTHY, **LEGS})), at_age(15.5)
        case = case_of(Question(record, protocol(), on), posterior=growth_of(record, on))
        made = growth_arrest.worksheet(case, {"correction_mm": "50", "physes": plates})
        assert any(said in item.text for item in made.warnings)


def test_a_skeletal_age_equal_to_the_calendar_is_said_so() -> None:
    assert "the same as the calendar age" in arrest_of(12.0).section("For comparison").tables[0].note


def test_growth_arrest_without_any_length_asks_for_one() -> None:
    bare = case_of(Question(child(visit(at_age(5), HEALTHY)), protocol(), at_age(5.1)))
    with pytest.raises(Refused, match="at least one measured length"):
        growth_arrest.worksheet(bare, {"correction_mm": "40"})


def test_more_than_the_protocol_s_most_is_outside_it() -> None:
    made = sheet("growth-arrest", {"correction_mm": "60"})
    assert any(item.rule == "arrest_most_mm" and item.stop for item in made.warnings)


def test_the_caution_of_the_wrong_side_stands_on_a_sheet_made_by_hand_too() -> None:
    made = growth_arrest.worksheet(by_hand(), {"correction_mm": "40"})
    assert any("confirm the side twice" in text for text in made.cautions)
    assert any("confirm the side twice" in text for text in sheet("growth-arrest").cautions)
    assert not any("confirm the side twice" in text for text in sheet("lift").cautions)
