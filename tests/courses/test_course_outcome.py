"""A course of the search put to the question how it ends when its amounts are decided again."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from pathway.courses.course import Course, limits_at
from pathway.courses.course_outcome import chance_of, slots_of
from pathway.courses.problem import CourseProblem
from pathway.protocol.load import load_protocol
from tests.courses.childhood import plan
from tests.sample import BORN, FILM, HEALTHY, LEGS, ON, at_age, child, five_year_old, visit


@cache
def of_five() -> tuple[CourseProblem, Course]:
    found = plan(five_year_old(), load_protocol(), ON, seed=0)
    assert found is not None
    return found


@cache
def of_eleven() -> tuple[CourseProblem, Course]:
    """Return a boy whose next lengthening comes before his next visit."""
    legs = {name: 1.6 * mm for name, mm in LEGS.items()} | {"affected.femur_length_mm": 330.0}
    record = child(visit(at_age(11.4, BORN), {**HEALTHY, **legs}, method=FILM))
    found = plan(record, load_protocol(), at_age(11.45), seed=0)
    assert found is not None
    return found


def test_deciding_again_brings_more_children_to_the_goal() -> None:
    problem, course = of_five()
    found = chance_of(course, problem)
    for mm in (10, 20):
        assert found.within(mm) > np.mean(np.abs(course.draws_mm) <= mm)


def test_the_same_seed_gives_the_same_chance_and_another_nearly_so() -> None:
    problem, course = of_five()
    one, same, other = (chance_of(course, problem, seed=seed) for seed in (0, 0, 1))
    assert np.array_equal(one.residual_mm, same.residual_mm)
    assert other.within(10) == pytest.approx(one.within(10), abs=0.03)


def test_what_is_decided_before_the_next_visit_stands_as_planned() -> None:
    problem, course = of_eleven()
    first = min(course.lengthenings, key=lambda item: item.age_years)
    assert first.age_years < problem.growth.posterior.age_years + 0.5
    amounts = chance_of(course, problem).amounts_mm[:, 0]
    assert set(amounts.tolist()) == {first.amount_mm}


def test_no_amount_exceeds_the_limits_of_its_age() -> None:
    problem, course = of_five()
    dated = slots_of(course, problem, spare=True)
    found = chance_of(course, problem, spare=True)
    bone = problem.growth.short_mm("femur")
    gained = np.zeros(len(found.residual_mm))
    for k, item in enumerate(dated):
        if item.slot.lengthens:
            mm = float(np.interp(item.decided_age_years, problem.grid.age_years, bone)) + gained
            for one in np.unique(mm):
                limits = limits_at(problem.protocol, "femoral_lengthening", item.decided_age_years, float(one))
                most = min(limit.limit_mm for limit in limits if not limit.rule.warns)
                assert found.amounts_mm[mm == one, k].max() <= most + 1e-6
            gained += found.amounts_mm[:, k]


def test_slots_stand_in_order_of_age_with_the_planned_amounts() -> None:
    problem, course = of_five()
    dated = slots_of(course, problem, spare=False)
    ages = [item.decided_age_years for item in dated]
    assert ages == sorted(ages)
    planned = [item.slot.planned * problem.grid.step_mm for item in dated if item.slot.lengthens]
    assert planned == [item.amount_mm for item in course.lengthenings]


def test_height_lost_is_that_of_each_draw() -> None:
    problem, course = of_five()
    assert course.arrest is not None
    low, middle, high = chance_of(course, problem, spare=False).height_lost([0.05, 0.5, 0.95])
    assert low < middle < high
    assert middle == pytest.approx(course.arrest.effect_mm, abs=10)


def test_a_prosthetic_road_has_no_amounts() -> None:
    problem, course = of_five()
    with pytest.raises(ValueError, match="no amounts"):
        chance_of(replace(course, prosthetic=True), problem)
