"""For any child whatsoever a plan is made, keeps every rule, and its sums are right."""

from __future__ import annotations

import datetime

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings

from pathway.growth import Step, fit_growth, outlook
from pathway.plan.make import make_plan
from pathway.plan.model import Course, Plan
from pathway.plan.verify import check_plan
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Record
from pathway.rule_engine.facts import known_steps
from tests.examples import NAMES, ON, example, example_plan
from tests.outside.properties.records import records

PROTOCOL = load_protocol()
BONES = {"femoral_lengthening": "femur", "tibial_lengthening": "tibia"}
PLATES = {"distal_femur": "femur", "proximal_tibia": "tibia"}


def steps_of(course: Course) -> list[Step]:
    """Return the course as growth sees it, read from the plan's own data."""
    steps = []
    for item in course.stages:
        if item.kind in BONES:
            steps.append(Step("short", BONES[item.kind], item.age_years, adds_mm=item.amount_mm or 0.0))
        else:
            steps += [Step("long", PLATES[plate], item.age_years, stops=(plate,)) for plate in item.physes]
    return steps


def assert_sums(plan: Plan, record: Record, protocol: Protocol) -> None:
    """Project the central child again, without and with each course, and compare with what the plan says."""
    posterior = fit_growth(
        Question(record, protocol, plan.on), known_steps=known_steps(Question(record, protocol, plan.on))
    )
    if posterior is None:
        assert plan.alternatives == ()
        return
    central = posterior.central()
    left_alone = float(outlook(central).at_maturity()[0])
    for course in plan.alternatives:
        with_it = float(outlook(central, steps_of(course)).at_maturity()[0])
        amounts = sum(item.amount_mm or 0.0 for item in course.stages)
        assert course.predicted_mm == pytest.approx(left_alone, abs=0.1)
        assert course.median_residual_mm == pytest.approx(with_it, abs=0.3)
        assert course.corrections_mm == pytest.approx(amounts, abs=0.1)
        assert abs(left_alone - amounts - with_it) <= 1.0, course.id


def assert_dates(plan: Plan) -> None:
    for stage in plan.stages:
        if stage.window is not None and stage.date is not None:
            assert stage.window.earliest <= stage.date
            assert stage.window.latest is None or stage.date <= stage.window.latest
            assert stage.end_date >= stage.date
            assert stage.date >= plan.on


def assert_courses(plan: Plan) -> None:
    assert sum(course.recommended for course in plan.alternatives) <= 1
    assert len({course.id for course in plan.alternatives}) == len(plan.alternatives)
    for course in plan.alternatives:
        assert (course.lost_because == "") == (course.recommended or plan.recommended is None)
        if course.residual_mm is not None:
            spread = course.residual_mm
            assert spread.p05 <= spread.p25 <= spread.p50 <= spread.p75 <= spread.p95
            assert 0 <= course.chance_within_10_mm <= course.chance_within_20_mm <= 1


@settings(
    max_examples=20,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(records(PROTOCOL))
def test_any_child_gets_a_plan_that_keeps_the_rules_and_adds_up(pair) -> None:
    record, on = pair
    plan = make_plan(Question(record, PROTOCOL, on))
    assert check_plan(plan, record, PROTOCOL) == ()
    assert_dates(plan)
    assert_courses(plan)
    assert_sums(plan, record, PROTOCOL)
    assert Plan.model_validate_json(plan.model_dump_json()) == plan


@pytest.mark.parametrize("name", NAMES)
def test_the_sums_of_the_example_children(name) -> None:
    plan = example_plan(name)
    assert_dates(plan)
    assert_courses(plan)
    assert_sums(plan, example(name), PROTOCOL)


@pytest.mark.parametrize("name", NAMES)
def test_the_bones_in_the_table_are_those_from_which_the_limits_are_worked_out(name) -> None:
    """A planned amount in percent of the bone is that of the bone in the plan's own table."""
    plan = example_plan(name)
    if plan.recommended is None:
        return
    ages = {item.id: item.age_years for item in plan.recommended.stages}
    for stage in plan.stages:
        if stage.amount_percent is None or stage.kind not in BONES:
            continue
        points = [point for point in plan.growth.by_age if point.age_years < ages[stage.id] - 1e-6]
        lengths = [getattr(point, f"short_{BONES[stage.kind]}_mm") for point in points]
        least, most = (100 * stage.amount_mm / (stage.amount_percent + off) for off in (0.05, -0.05))
        # The table stands a quarter of a year apart while bones grow; a short femur grows less than 7 mm in that time.
        assert lengths[-1] - 1 <= most and least <= lengths[-1] + 7


def test_the_spread_of_the_predicted_difference_lies_around_the_central_one() -> None:
    for name in NAMES:
        plan = example_plan(name)
        if plan.growth.at_maturity is not None and plan.alternatives:
            spread = plan.growth.at_maturity.discrepancy_mm
            assert spread.p05 < plan.alternatives[0].predicted_mm < spread.p95


def test_nothing_measured_is_a_plan_of_questions() -> None:
    record = example(NAMES[0]).model_copy(update={"visits": (), "operations": (), "decisions": ()})
    plan = make_plan(Question(record, PROTOCOL, ON))
    assert plan.alternatives == ()
    assert plan.growth.at_maturity is None
    asked = {question.finding for question in plan.open_questions}
    assert {"femur_length_mm", "tibia_length_mm", "center_edge_angle_deg"} <= asked
    assert all(stage.date is None for stage in plan.stages if stage.operation)


def test_more_draws_of_another_seed_move_the_spread_and_not_the_plan() -> None:
    name = next(name for name in NAMES if example_plan(name).recommended is not None)
    one, other = (make_plan(Question(example(name), PROTOCOL, ON), seed=seed, compared=False) for seed in (0, 1))
    assert one.recommended.id == other.recommended.id
    assert [(s.id, s.date, s.amount_mm) for s in one.stages] == [(s.id, s.date, s.amount_mm) for s in other.stages]
    assert one.recommended.median_residual_mm == other.recommended.median_residual_mm
    assert one.recommended.residual_mm != other.recommended.residual_mm


def test_a_child_past_the_end_of_the_plan_still_gets_one() -> None:
    record = example(NAMES[0])
    old = record.child.date_of_birth + datetime.timedelta(days=int(21 * 365.25))
    plan = make_plan(Question(record, PROTOCOL, old), compared=False)
    assert not [stage for stage in plan.stages if stage.kind in BONES and stage.status == "ready"]
    assert np.isfinite(plan.growth.mature_age_years)
