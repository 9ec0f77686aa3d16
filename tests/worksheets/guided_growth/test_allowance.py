"""The allowance against rebound: for valgus in a young child, an option from varus, under a stop past the band."""

from __future__ import annotations

import datetime

import pytest

from pathway.worksheets.sheet import Sheet
from tests.worksheets.cases import protocol, sheet
from tests.worksheets.guided_growth.test_by_age import of_age

OPTION = "Option: removed with 5 deg against rebound"


def made(measured: str, **settings: str) -> Sheet:
    return sheet("guided-growth", {"width_mm": "70", "yearly_mm": "10", "measured_deg": measured, **settings})


def day(of: Sheet, label: str) -> datetime.date:
    value = of.line(label).value
    assert isinstance(value, datetime.date)
    return value


def stops(of: Sheet) -> list[str]:
    return [item.text for item in of.warnings if item.stop]


def test_from_valgus_a_young_child_has_the_allowance_and_from_varus_none() -> None:
    assert made("80").input("over_deg").value == protocol().number("guided_growth_over_deg")
    varus = made("96").input("over_deg")
    assert varus.value == 0
    assert varus.note == "none from varus: the allowance is for valgus"


def test_a_tibia_in_varus_has_none_either() -> None:
    # The medial proximal tibial angle falls in varus: 78 deg is varus, 97 deg is valgus.
    assert made("78", physis="proximal_tibia").input("over_deg").value == 0
    assert made("97", physis="proximal_tibia").input("over_deg").value == 5


def test_without_a_measured_angle_nobody_knows_the_side_and_there_is_none() -> None:
    item = of_age(6.0, {"angle_deg": "8"}).input("over_deg")
    assert (item.value, item.note) == (0, "none while no angle is measured: the allowance is for valgus")


def test_from_varus_the_plate_is_removed_when_straight_and_inside_the_band() -> None:
    of = made("96")
    assert day(of, "Remove the plate about") == day(of, "Straight about")
    assert day(of, "Remove the plate about") < day(of, "Beyond the normal band from")
    assert stops(of) == []
    assert "allowance" not in of.section("Visits").tables[0].note


def test_from_varus_the_allowance_is_an_option_with_its_own_day() -> None:
    of = made("96")
    assert day(of, OPTION) == day(made("96", over_deg="5"), "Remove the plate about")
    assert f"past the normal band from {day(of, 'Beyond the normal band from')}" in of.line(OPTION).note
    assert "common_practice" in of.line(OPTION).sources
    for other in (made("80"), made("96", over_deg="5"), made("96", start_on="2036-03-01")):
        with pytest.raises(KeyError):
            other.line(OPTION)


@pytest.mark.parametrize(("measured", "into", "then"), [("96", "valgus", "83 deg"), ("80", "varus", "93 deg")])
def test_past_the_normal_band_is_never_planned_without_a_stop(measured: str, into: str, then: str) -> None:
    of = made(measured, over_deg="5")
    (told,) = stops(of)
    assert told.startswith(f"The allowance of 5 deg takes the knee past the normal band, into {into}")
    assert then in told
    assert "normal from then on: 85.0 to 90.0 deg" in told
    assert f"Remove the plate before {day(of, 'Beyond the normal band from')}" in told


def test_an_allowance_inside_the_band_is_no_stop() -> None:
    of = made("80", over_deg="1")
    assert day(of, "Remove the plate about") < day(of, "Beyond the normal band from")
    assert stops(of) == []
