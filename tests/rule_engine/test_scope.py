"""For whom a rule is: a test of the diagnosis decides, asks for nothing, and stays out of the sentence."""

from __future__ import annotations

import pytest

from pathway.rule_engine.conditions import judge
from tests.rule_engine.made_facts import condition, facts

FOR_TIBIA = {"diagnosis": "tibial_deficiency"}
NO_TIBIA = {"finding": "tibia", "equals": "absent"}


def test_a_rule_for_another_diagnosis_fails_without_asking_for_its_findings(protocol) -> None:
    verdict = judge(condition(all=[FOR_TIBIA, NO_TIBIA]), facts(), protocol)
    assert verdict.state == "fails"
    assert verdict.asks == ()


def test_a_rule_for_this_diagnosis_asks(protocol) -> None:
    verdict = judge(condition(all=[FOR_TIBIA, NO_TIBIA]), facts(diagnosis="tibial_deficiency"), protocol)
    assert verdict.state == "unknown"
    assert set(verdict.asks) == {"tibia"}


def test_the_diagnosis_is_left_out_of_the_sentence_where_findings_speak(protocol) -> None:
    scoped = condition(all=[{"finding": "center_edge_angle_deg", "at_most": 20}, {"not": FOR_TIBIA}])
    plain = condition(finding="center_edge_angle_deg", at_most=20)
    shallow = facts({"center_edge_angle_deg": 12.0})
    assert judge(scoped, shallow, protocol).sentence == judge(plain, shallow, protocol).sentence
    assert judge(scoped, shallow, protocol).margin == judge(plain, shallow, protocol).margin


def test_the_diagnosis_is_said_where_nothing_else_speaks(protocol) -> None:
    verdict = judge(condition(all=[FOR_TIBIA]), facts(), protocol)
    assert verdict.sentence == "the diagnosis is congenital femoral deficiency"


@pytest.mark.parametrize(
    ("held", "asked", "state"),
    [
        ({"planned": ("hip_preparation",)}, "offered", "holds"),
        ({"done": ("hip_preparation",)}, "offered", "holds"),
        ({}, "offered", "fails"),
        ({}, "planned", "fails"),
    ],
)
def test_a_stage_is_offered_when_it_is_planned_or_done(held, asked, state, protocol) -> None:
    assert judge(condition(stage="hip_preparation", equals=asked), facts(**held), protocol).state == state
