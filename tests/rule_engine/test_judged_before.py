"""What was judged before is taken up only where nothing that it rests on has changed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pathway.protocol.model import Condition
from pathway.rule_engine.conditions import ClassFact, Kept, judge
from tests.rule_engine.made_facts import condition, facts

NECK = condition(finding="neck_shaft_angle_deg", below=100.0)
OLD_ENOUGH = condition(quantity="age_years", at_least=4.0)
DIAGNOSED = condition(diagnosis="fibular_hemimelia")
FAR = condition(quantity="predicted_discrepancy_at_maturity_mm", at_least=80.0)
TYPED = condition(classification="femur_hip_and_knee_types", one_of=("1a",))
PLANNED = condition(stage="therapy_block", equals="planned")
WISHED = condition(stage="prosthetic_road", equals="wished")


def asked_of(leaf: Condition) -> list[Condition]:
    return [leaf, condition(all=(leaf, OLD_ENOUGH)), condition(all=(OLD_ENOUGH, condition(any=(leaf, DIAGNOSED))))]


@pytest.mark.parametrize(
    ("leaf", "changed"),
    [
        (NECK, {"findings": facts({"neck_shaft_angle_deg": 90.0}).findings}),
        (OLD_ENOUGH, {"age_years": 6.0}),
        (DIAGNOSED, {"diagnosis": "fibular_hemimelia"}),
        (FAR, {"predicted": facts(predicted={"predicted_discrepancy_at_maturity_mm": [120.0]}).predicted}),
        (TYPED, {"classes": {"femur_hip_and_knee_types": ClassFact("1a")}}),
        (PLANNED, {"planned": frozenset({"therapy_block"})}),
        (WISHED, {"wished": frozenset({"prosthetic_road"})}),
    ],
    ids=["finding", "age", "diagnosis", "projection", "type", "what is planned", "what is wished"],
)
def test_a_copy_with_something_changed_is_judged_anew(leaf, changed, protocol) -> None:
    before = facts(
        {"neck_shaft_angle_deg": 120.0}, age_years=3.0, predicted={"predicted_discrepancy_at_maturity_mm": [40.0]}
    )
    after = replace(before, **changed)
    for asked in asked_of(leaf):
        assert judge(leaf, before, protocol).state == "fails"
        judge(asked, before, protocol)
        assert judge(leaf, after, protocol).state == "holds"
        assert judge(asked, after, protocol) == judge(asked, replace(after, kept=Kept()), protocol)
        assert judge(asked, before, protocol) == judge(asked, replace(before, kept=Kept()), protocol)


def test_equal_conditions_are_judged_once(protocol) -> None:
    on = facts({"neck_shaft_angle_deg": 90.0})
    first = judge(condition(all=(NECK, OLD_ENOUGH)), on, protocol)
    twin = NECK.model_copy()
    assert judge(condition(all=(twin, OLD_ENOUGH)), on, protocol) is first
    assert judge(twin, on, protocol) is first.parts[0]
