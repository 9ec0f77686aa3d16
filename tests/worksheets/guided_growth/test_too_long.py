"""Straight and the allowance apart, and what a plate does that is left in."""

from __future__ import annotations

import datetime
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathway.days import MONTH_DAYS
from pathway.worksheets.guided_growth.steering import growth_for, rate_deg_per_month, steady, turned_deg
from pathway.worksheets.sheet import Sheet
from tests.worksheets.cases import sheet

STEADY = {"width_mm": "70", "measured_deg": "80", "yearly_mm": "10"}


def made(**settings: str) -> Sheet:
    return sheet("guided-growth", {**STEADY, **settings})


def test_straight_and_the_allowance_are_counted_apart() -> None:
    # tan 8 deg x 70 mm = 9.838 mm at 10 mm a year: 11.81 months; tan 13 deg x 70 = 16.161 mm: 19.39 months.
    whole, none = made(over_deg="5"), made(over_deg="0")
    assert whole.line("Months until straight").value == pytest.approx(11.81, abs=0.01)
    assert none.line("Months until straight").value == pytest.approx(11.81, abs=0.01)
    assert whole.line("Months more for the allowance").value == pytest.approx(19.39 - 11.81, abs=0.02)
    with pytest.raises(KeyError):
        none.line("Months more for the allowance")


def test_the_plate_comes_out_when_both_are_over() -> None:
    of = made(over_deg="5")
    straight, out = (of.line(label).value for label in ("Straight about", "Remove the plate about"))
    assert isinstance(straight, datetime.date) and isinstance(out, datetime.date)
    more = of.line("Months more for the allowance").value
    assert (out - straight).days == pytest.approx(float(more) * MONTH_DAYS, abs=2)  # type: ignore[arg-type]
    assert made(over_deg="0").line("Remove the plate about").value == straight


def test_the_knee_must_be_looked_at_before_it_may_be_straight() -> None:
    of = made()
    look, straight = of.line("Look at the knee by").value, of.line("Straight about")
    assert straight.spread is not None
    assert look == straight.spread[0]
    assert look < straight.value  # type: ignore[operator]


def test_a_film_that_would_come_too_late_is_brought_forward() -> None:
    # 6 deg over 70 mm at 20 mm a year take 4.4 months, 3 months either way: before the first film after 3 months.
    quick = made(measured_deg="82", yearly_mm="20").line("Look at the knee by")
    assert "bring that one forward" in quick.note
    assert "bring that one forward" not in made(measured_deg="70").line("Look at the knee by").note


def test_beyond_straight_it_goes_on_at_its_rate() -> None:
    # From 8 deg on, a year of 10 mm over 70 mm: atan(19.838 / 70) - 8 = 7.82 deg in 12 months, 0.65 a month.
    line = made().line("Beyond straight the knee goes on turning by")
    assert line.value == pytest.approx((math.degrees(math.atan((9.838 + 10) / 70)) - 8) / 12, abs=0.001)
    assert line.value == pytest.approx(0.65, abs=0.005)


def test_a_plate_left_in_is_told_visit_by_visit_with_the_angle_then() -> None:
    table = made().section("If the plate stays too long").tables[0]
    assert [row[0] for row in table.rows] == [3, 6, 9, 12]
    beyond, angles = [row[2] for row in table.rows], [row[3] for row in table.rows]
    assert beyond == sorted(beyond)  # type: ignore[type-var]
    assert angles == pytest.approx([88 + float(deg) for deg in beyond])  # type: ignore[arg-type]
    assert table.rows[-1][5] == "outside"
    varus = made(measured_deg="98", over_deg="0").section("If the plate stays too long").tables[0]
    assert [row[3] for row in varus.rows] == pytest.approx([88 - float(row[2]) for row in varus.rows])  # type: ignore[arg-type]


def test_the_day_on_which_the_normal_band_is_left_lies_behind_straight() -> None:
    of = made()
    past = of.line("Beyond the normal band from").value
    assert past > of.line("Straight about").value  # type: ignore[operator]
    assert "the allowance goes past it" in made(over_deg="5").line("Beyond the normal band from").note
    assert "the allowance stays inside it" in made(over_deg="1").line("Beyond the normal band from").note


def test_where_growth_ends_first_nothing_is_overcorrected() -> None:
    of = made(measured_deg="60", yearly_mm="1", width_mm="110")
    assert of.section("If the plate stays too long").words == (
        "Growth ends before the knee is straight: a plate left in cannot overcorrect it.",
    )
    assert any(item.stop and item.text.startswith("Too late for 28 deg") for item in of.warnings)


def test_an_allowance_that_growth_does_not_reach_is_told() -> None:
    of = made(start_on="2042-03-01", over_deg="10", measured_deg="82", yearly_mm="5", width_mm="60")
    assert of.line("Months until straight").value is not None
    assert any("Growth ends before the allowance of 10 deg" in item.text for item in of.warnings)


def test_the_band_that_judges_a_plate_left_in_is_shown_beside_the_verdict() -> None:
    of = made(measured_deg="98")
    low, high = (float(deg) for deg in str(of.line("Beyond the normal band from").note).split()[4:7:2])
    assert (low, high) == (85.0, 90.0)
    for row in of.section("If the plate stays too long").tables[0].rows:
        low, high = (float(deg) for deg in str(row[4]).split()[:3:2])
        assert (row[5] == "inside") == (low <= float(row[3]) <= high)  # type: ignore[arg-type]


@settings(max_examples=50, deadline=None)
@given(angle=st.floats(1, 30), over=st.floats(0, 10), width=st.floats(20, 110), yearly=st.floats(3, 25))
def test_months_with_the_allowance_are_never_fewer(angle: float, over: float, width: float, yearly: float) -> None:
    of = steady(yearly, 4.0, 16.0)
    straight, more = (of.months_until(growth_for(deg, width))[0] for deg in (angle, angle + over))
    assert more is None or (straight is not None and straight <= more + 1e-9)
    if straight is not None:
        assert turned_deg(of.grown(straight), width) == pytest.approx(angle, abs=0.05)


@given(yearly=st.floats(1, 25), width=st.floats(15, 110))
def test_the_rate_is_a_twelfth_of_a_year_s_turn(yearly: float, width: float) -> None:
    assert 12 * rate_deg_per_month(yearly, width) == pytest.approx(turned_deg(yearly, width))
    assert growth_for(turned_deg(yearly, width), width) == pytest.approx(yearly)


def test_a_target_that_is_not_yet_normal_has_its_band_from_the_age_at_which_it_is() -> None:
    # 104 deg at 2.7 years: straight at 88 when the band is 84 to 91, the next ones narrower.
    of = made(measured_deg="104", over_deg="0")
    rows = of.section("If the plate stays too long").tables[0].rows
    assert rows[0][5] == "inside"
    assert rows[-1][5] == "outside"
