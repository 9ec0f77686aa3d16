"""The version aimed at follows the child's age at the operation; the adult value is named, a value by hand stays."""

from __future__ import annotations

import datetime
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pathway.protocol.load import load_protocol
from pathway.upper_femur.targets import version_at_deg
from pathway.worksheets.osteotomy.version import target_version
from tests.worksheets.osteotomy.sheets import sheet, the_case

ADULT = load_protocol().number("osteotomy_version_target_deg")
BORN = 2020


def on(year: int):
    return target_version(replace(the_case(), on=datetime.date(year, 3, 14)))


def test_at_birth_it_is_the_newborns_and_from_the_age_in_the_rules_on_the_adults():
    assert version_at_deg(0, 40, 14, 8) == 40
    assert version_at_deg(4, 40, 14, 8) == pytest.approx(27)
    assert version_at_deg(8, 40, 14, 8) == version_at_deg(15, 40, 14, 8) == 14
    assert version_at_deg(3, 40, 14, 0) == 14


@given(st.floats(0, 18), st.floats(0, 18))
def test_an_older_child_is_never_given_more(one, other):
    young, old = sorted((one, other))
    assert version_at_deg(young, 40, 14, 8) >= version_at_deg(old, 40, 14, 8)


def test_the_sheet_aims_at_the_age_and_names_the_adult_value():
    young, old = on(BORN + 4), on(BORN + 10)
    assert young.value == 27
    assert "for 4 y at the operation" in young.note
    assert f"adult value of {ADULT:g} deg" in young.note
    assert {"hartel_2016", "rotation_review_2021", "operative_techniques_136", "own_judgement"} == set(young.sources)
    assert old.value == ADULT
    assert old.note.startswith("adult value")


def test_the_age_is_that_of_the_plans_operation():
    case = the_case()
    from tests.plans import plan

    stage = next(one for one in plan("rowan-02").stages if one.kind == "proximal_femoral_osteotomy")
    later = stage.model_copy(update={"date": datetime.date(BORN + 7, 3, 14)})
    assert target_version(replace(case, stage=later)).value == round(version_at_deg(7, 40, ADULT, 8))


def test_what_is_set_by_hand_stays():
    made = sheet(target_version_deg=10)
    assert made.input("target_version_deg").value == 10
    assert made.input("target_version_deg").origin == "by_hand"
    assert made.line("target version").note == "by hand"
    assert made.numbers["version_after_deg"] == pytest.approx(10)


def test_what_the_sheet_aims_at_is_what_the_model_reaches():
    made = sheet()
    assert made.numbers["version_after_deg"] == pytest.approx(made.input("target_version_deg").value)
    assert made.input("target_version_deg").value > ADULT
    assert f"adult value of {ADULT:g} deg" in made.line("target version").note


class TestUnknown:
    """A bone whose version nobody measured still has a sheet: said, in ranges, and outside the protocol."""

    def test_it_is_said_and_stops(self) -> None:
        made = sheet(without=("femoral_version_deg",))
        assert any(warning.stop and "Version was not measured" in warning.text for warning in made.warnings)
        assert made.input("femoral_version_deg").note.startswith("NOT MEASURED")

    @pytest.mark.parametrize("version", [-23.6, 0, 14, 48.7])
    def test_the_ranges_hold_the_plan_of_every_version_that_adults_have(self, version: float) -> None:
        made, other = sheet(without=("femoral_version_deg",)), sheet(femoral_version_deg=version)
        assert made.ranges is not None
        assert other.numbers is not None
        for name in ("rotation_deg", "wire_front_deg", "wire_side_deg", "slot_deg", "valgus_deg", "version_before_deg"):
            value, told = other.numbers[name], made.ranges[name]
            assert isinstance(value, float)
            assert told.low - 0.5 <= value <= told.high + 0.5, name

    def test_measured_it_says_nothing(self) -> None:
        assert not any("Version was not" in warning.text for warning in sheet().warnings)
