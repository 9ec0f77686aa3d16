"""Inputs of a worksheet: where they come from, and what may be set by hand."""

from __future__ import annotations

import datetime

import pytest

from pathway.protocol.base import Sourced
from pathway.worksheets.case import Inputs, from_finding, set_by_hand
from pathway.worksheets.kinds import KINDS, kind_for, stage_of
from pathway.worksheets.sheet import Input, InputProblem
from tests.worksheets.cases import by_hand, planned, protocol

ITEMS = (
    Input(name="rate", label="rate", value=1.0, unit="mm", plausible=(0.1, 2), origin="protocol", sources=("a",)),
    Input(name="turns", label="turns", kind="whole", plausible=(1, 8)),
    Input(name="bone", label="bone", kind="choice", choices=("femur", "tibia")),
    Input(name="begun", label="begun", kind="day"),
    Input(name="angles", label="angles", kind="list", unit="deg", plausible=(90, 150)),
    Input(name="rod", label="rod", kind="flag"),
    Input(name="fixed", label="fixed", value=3.0, settable=False),
)


@pytest.mark.parametrize(
    ("name", "text", "value"),
    [
        ("rate", "0.75", 0.75),
        ("turns", "4", 4.0),
        ("bone", "tibia", "tibia"),
        ("begun", "2030-01-07", datetime.date(2030, 1, 7)),
        ("angles", "100, 110,120", (100.0, 110.0, 120.0)),
        ("rod", "no", False),
    ],
)
def test_text_becomes_the_value_and_its_origin_the_hand(name: str, text: str, value: object) -> None:
    item = set_by_hand("lift", ITEMS, {name: text}).item(name)
    assert item.value == value
    assert (item.origin, item.sources) == ("by_hand", ())


@pytest.mark.parametrize(
    ("name", "text", "expected"),
    [
        ("rate", "3", "a number from 0.1 to 2 mm"),
        ("rate", "nan", "a number from 0.1 to 2 mm"),
        ("rate", "1,5", "a number from 0.1 to 2 mm"),
        ("turns", "2.5", "a whole number from 1 to 8"),
        ("bone", "hip", "one of femur, tibia"),
        ("begun", "7.1.2030", "a date (YYYY-MM-DD)"),
        ("angles", "100,200", "numbers with commas between them from 90 to 150 deg"),
        ("rod", "perhaps", "yes or no"),
    ],
)
def test_what_cannot_be_is_told_with_what_was_expected(name: str, text: str, expected: str) -> None:
    with pytest.raises(InputProblem) as told:
        set_by_hand("lift", ITEMS, {name: text})
    fault = told.value.faults[0]
    assert (fault.key, fault.found, fault.expected) == (name, repr(text), expected)


def test_an_unknown_name_is_told_with_the_one_that_was_meant() -> None:
    with pytest.raises(InputProblem, match="did you mean turns"):
        set_by_hand("lift", ITEMS, {"turn": "4"})


def test_an_input_that_is_not_settable_stays() -> None:
    with pytest.raises(InputProblem):
        set_by_hand("lift", ITEMS, {"fixed": "4"})


def test_all_faults_are_told_at_once() -> None:
    with pytest.raises(InputProblem) as told:
        set_by_hand("lift", ITEMS, {"turn": "4", "rate": "9", "bone": "hip"})
    assert len(told.value.faults) == 3


def test_a_missing_value_is_asked_for() -> None:
    inputs = Inputs("lift", ITEMS)
    with pytest.raises(InputProblem, match="--set turns="):
        inputs.number("turns")


def test_a_finding_brings_its_date_method_and_range() -> None:
    item = from_finding(by_hand(), "femur_length_mm")
    assert item.value == 119
    assert (item.origin, item.measured_on, item.method) == (
        "visit",
        datetime.date(2026, 11, 18),
        "standing_full_length_film",
    )
    assert item.plausible == protocol().finding("femur_length_mm").plausible


def test_a_finding_that_was_never_measured_has_no_value() -> None:
    item = from_finding(by_hand(), "medial_proximal_tibial_angle_deg")
    assert (item.value, item.origin) == (None, "none")


def test_default_values_lie_in_what_may_be_set() -> None:
    for rule in protocol().values:
        if rule.plausible is not None:
            assert rule.plausible[0] <= rule.value <= rule.plausible[1], rule.id
        if rule.low is not None and rule.high is not None:
            assert rule.low <= rule.value <= rule.high, rule.id


def test_sources_of_the_healing_index_are_known() -> None:
    known = {source.id for source in protocol().sources}
    table = protocol().table("healing_index")
    assert {row[-1] for row in table.rows} <= known
    assert all(isinstance(rule, Sourced) for rule in protocol().values)


def test_lift_limits_are_those_of_the_indications() -> None:
    bounds = {
        rule.stage: [leaf.at_least for leaf in rule.when.leaves() if leaf.at_least is not None]
        for rule in protocol().indications
        if rule.id in ("shoe_lift.two_to_five", "built_up_orthosis.five_to_ten", "extension_prosthesis.over_ten")
    }
    number = protocol().number
    assert bounds == {
        "shoe_lift": [number("lift_from_mm")],
        "built_up_orthosis": [number("lift_shoe_most_mm")],
        "extension_prosthesis": [number("lift_extension_prosthesis_from_mm")],
    }


def test_every_kind_opens_for_stages_of_the_protocol() -> None:
    kinds = {stage.id for stage in protocol().stages}
    for worksheet in KINDS.values():
        assert set(worksheet.stages) <= kinds


def test_a_stage_names_its_kind_of_worksheet() -> None:
    plan = planned()[0]
    assert kind_for(plan.stage("femoral_lengthening_2")) == "lengthening"
    assert kind_for(plan.stage("contralateral_growth_arrest")) == "growth-arrest"
    checks = next(stage for stage in plan.stages if stage.kind == "examination")
    assert kind_for(checks) is None


def test_an_unknown_stage_is_told_with_those_there_are() -> None:
    with pytest.raises(InputProblem, match="did you mean femoral_lengthening_2"):
        stage_of("lengthening", planned()[0], "femoral_lengthening_22")
    with pytest.raises(InputProblem, match="expected one of none in this plan"):
        stage_of("guided-growth", planned()[0], "guided_growth_1")
