"""The judge of the roads and of both sides catches a plan with one thing wrong, and names what is wrong."""

from __future__ import annotations

from functools import cache

import pytest

from pathway.casefile import read_case
from pathway.plan.make import make_plan
from pathway.plan.model import Plan, PlanStage
from pathway.plan.verify import check_plan
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.record import Record
from tests.plan.test_examples import FOLDER, ON

PROTOCOL = load_protocol()


@cache
def planned(name: str) -> tuple[Record, Plan]:
    record = read_case(FOLDER.joinpath(f"{name}.toml").read_text(encoding="utf-8"), name, PROTOCOL, ON)
    assert isinstance(record, Record)
    return record, make_plan(Question(record, PROTOCOL, ON), compared=False)


def changed(plan: Plan, id: str, **fields: object) -> Plan:
    stages = tuple(one.model_copy(update=fields) if one.id == id else one for one in plan.stages)
    assert stages != plan.stages
    return plan.model_copy(update={"stages": stages})


def breaches(name: str, plan: Plan) -> set[str]:
    return {breach.rule for breach in check_plan(plan, planned(name)[0], PROTOCOL)}


@pytest.mark.parametrize("name", ["birch-04", "maple-01", "lark-01", "ash-01", "fern-05"])
def test_a_good_plan_has_nothing_wrong(name: str) -> None:
    assert breaches(name, planned(name)[1]) == set()


def test_an_ablation_with_a_date() -> None:
    plan = planned("maple-01")[1]
    window = plan.stage("foot_amputation").window
    assert window is not None
    dated = changed(plan, "foot_amputation", date=window.earliest, end_date=window.earliest)
    assert "road" in breaches("maple-01", dated)


def test_a_preparation_of_the_road_that_comes_second() -> None:
    _, plan = planned("ash-01")
    ankle = PROTOCOL.stage("ankle_foot_preparation")
    like = plan.stage("hip_preparation_1")
    planted = like.model_copy(update={"id": "ankle_foot_preparation_1", "kind": ankle.id, "lane": ankle.lane})
    assert "road" in breaches("ash-01", plan.model_copy(update={"stages": (*plan.stages, planted)}))


def of_both(**fields: object) -> PlanStage:
    return planned("fern-05")[1].stage("femoral_lengthening").model_copy(update=fields)


@pytest.mark.parametrize(
    ("planted", "named"),
    [
        (of_both(id="femoral_lengthening_2", amount_mm=50.0), "both_sides"),
        (of_both(id="hip_preparation_1_left", kind="hip_preparation"), "both_sides"),
        (of_both(id="contralateral_growth_arrest", kind="contralateral_growth_arrest"), "both_sides"),
        (of_both(id="femoral_lengthening_3", side="neither"), "side"),
    ],
    ids=["an amount that no source gives", "a hip prepared", "the other short leg stopped", "on no side"],
)
def test_what_no_source_supports_on_both_sides(planted: PlanStage, named: str) -> None:
    plan = planned("fern-05")[1]
    assert named in breaches("fern-05", plan.model_copy(update={"stages": (*plan.stages, planted)}))


def test_a_prediction_from_one_short_leg_for_the_other() -> None:
    plan, other = planned("fern-05")[1], planned("birch-04")[1]
    assert "both_sides" in breaches("fern-05", plan.model_copy(update={"growth": other.growth}))
    assert "both_sides" in breaches("fern-05", plan.model_copy(update={"alternatives": other.alternatives}))
