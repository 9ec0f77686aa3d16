"""The plans of the example children break no rule, and the judge is deaf to how they came about."""

from __future__ import annotations

import datetime

import pytest

from pathway.plan.make import make_plan
from pathway.plan.model import Plan
from pathway.plan.verify import check_plan
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from tests.examples import NAMES, ON, example, example_plan
from tests.sample import HEALTHY, LEGS, at_age, child, operation
from tests.sample import ON as DAY
from tests.sample import visit as visited


@pytest.mark.parametrize("name", NAMES)
def test_the_plan_of_an_example_child_breaks_no_rule(name, protocol) -> None:
    assert check_plan(example_plan(name), example(name), protocol) == ()


@pytest.mark.parametrize("name", NAMES)
def test_nor_does_the_same_plan_read_back_from_its_json(name, protocol) -> None:
    again = Plan.model_validate_json(example_plan(name).model_dump_json())
    assert again == example_plan(name)
    assert check_plan(again, example(name), protocol) == ()


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("days", [100, 420, 1000])
def test_nor_do_plans_made_later_without_a_new_visit(name, days, protocol) -> None:
    plan = make_plan(Question(example(name), protocol, ON + datetime.timedelta(days=days)), compared=False)
    assert check_plan(plan, example(name), protocol) == ()


@pytest.mark.parametrize("name", NAMES)
def test_nor_do_plans_made_on_the_day_of_each_earlier_visit(name, protocol) -> None:
    for visit in example(name).visits:
        plan = make_plan(Question(example(name), protocol, visit.date), compared=False)
        assert check_plan(plan, example(name), protocol) == ()


def test_the_device_on_one_of_two_short_legs_comes_off() -> None:
    """Affected on both sides: no operation to come has a date, but the device on the bone is taken off."""
    on_the_bone = operation("femoral_lengthening", at_age(4.8), achieved_mm=20)
    record = child(visited(at_age(5), {**HEALTHY, **LEGS}), operations=(on_the_bone,), side="both")
    plan = make_plan(Question(record, load_protocol(), DAY), compared=False)
    assert plan.conflicts == ()
    assert [stage.id for stage in plan.stages if stage.operation and stage.date] == [
        "femoral_lengthening_1_left",
        "femoral_device_removal_1_left",
    ]
    assert plan.stage("femoral_device_removal_1_left").side == "left"
