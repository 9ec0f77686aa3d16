"""A course within a programme of print keeps that programme's ages, amounts, number and devices, in every life."""

from __future__ import annotations

from functools import cache, lru_cache

import numpy as np
import pytest

from pathway.courses.policy.child import ChildProgramme, programme_of
from pathway.courses.policy.harms import LASTING, harms_of
from pathway.courses.policy.induction import Solved, solve
from pathway.courses.policy.outcome import Outcome, outcome
from pathway.courses.problem import CourseProblem
from pathway.courses.ranking import printed_for
from pathway.growth import fit_growth
from pathway.plan.make import problems_of
from pathway.protocol.load import load_protocol
from pathway.protocol.model import PrintedProgramme
from pathway.protocol.question import Question
from pathway.record import Measurement
from pathway.rule_engine.facts import known_steps
from tests.courses.policy.lives import live
from tests.examples import ON, example

LIVES = 400
PROGRAMMES = {one.id: one for one in load_protocol().printed_programmes}
CASES = (
    ("willow-03", "femoral.early"),
    ("willow-03", "femoral.standard"),
    ("hazel-08", "femoral.standard"),
    ("birch-04", "fibular.ring_frame"),
    ("oak-12", "femoral.arrest_or_lift"),
)


@cache
def problem(name: str) -> tuple[CourseProblem, Question]:
    return problem_of(Question(example(name), load_protocol(), ON).as_known())


def problem_of(question: Question) -> tuple[CourseProblem, Question]:
    posterior = fit_growth(question, known_steps=known_steps(question))
    assert posterior is not None
    found = problems_of(question, posterior)
    assert isinstance(found, tuple)
    return found[0], question


@lru_cache(maxsize=1)
def solved(name: str, id: str) -> tuple[ChildProgramme, Solved, Outcome]:
    child = programme_of(*problem(name), within=PROGRAMMES[id] if id else None, arrest=_arrests(id))
    assert child is not None
    found = solve(child.programme)
    return child, found, outcome(found)


def _arrests(id: str) -> bool:
    return not id or PROGRAMMES[id].growth_arrest


@pytest.mark.parametrize("name, id", CASES)
def test_no_life_leaves_the_limits_of_print(name: str, id: str) -> None:
    """Read from what was done, beside what the rules print."""
    printed = PROGRAMMES[id]
    assert printed in printed_for(problem(name)[0], load_protocol())
    child, found, _ = solved(name, id)
    lives, operations = live(found, LIVES, seed=2), 0
    before = [one.kind for one in example(name).operations if one.kind.endswith("_lengthening")]
    for one in lives.done:
        if one.action.amount < 0:
            assert printed.growth_arrest
            continue
        age = float(child.programme.age_years[one.visit])
        mm = float(child.programme.amounts_mm[one.action.amount])
        for number, gained in zip(one.number.tolist(), one.gained.tolist(), strict=True):
            bone = child.bones[number]
            stage = f"{'femoral' if bone == 'femur' else 'tibial'}_lengthening"
            own = before.count(stage) + sum(item == bone for item in child.bones[: number + 1])
            step = printed.step_of(stage, own)
            assert step is not None
            assert step.from_age_years <= age <= (step.to_age_years or np.inf)
            assert step.least_mm <= mm <= (step.most_mm or np.inf)
            device = child.device_of(one.visit, one.action.amount, number + 1, gained)
            assert not step.devices or device.id in step.devices
            operations += 1
    assert lives.number.max() + len(before) <= printed.most_lengthenings
    assert operations > 0 or not printed.steps


@pytest.mark.parametrize("name, id", CASES)
def test_a_narrower_choice_costs_no_less(name: str, id: str) -> None:
    assert solved(name, id)[1].value >= solved(name, "")[1].value - 1e-6


@pytest.mark.parametrize("name", ["willow-03", "birch-04", "oak-12"])
def test_nothing_more_has_no_lengthening_and_no_arrest(name: str) -> None:
    _, _, ends = solved(name, "nothing_more")
    assert ends.number[0] == pytest.approx(1) and ends.arrested == 0
    assert ends.planned == ends.unplanned == ends.device_months == ends.harm == 0


def test_no_device_of_print_no_lengthening() -> None:
    """A child whose bone was infected once gets no nail, and no programme of nails alone; of a frame it has one."""
    record = example("willow-03")
    infected = Measurement(
        finding="earlier_bone_infection", side=record.child.affected_side, value=True, method="history"
    )
    last = record.visits[-1]
    told = last.model_copy(update={"measurements": (*last.measurements, infected)})
    question = Question(record.model_copy(update={"visits": (*record.visits[:-1], told)}), load_protocol(), ON)
    found = problem_of(question.as_known())
    printed = PROGRAMMES["femoral.few_operations"]
    child = programme_of(*found, within=printed)
    assert child is not None and not child.programme.is_open(lengthening=True)
    frame = printed.steps[0].model_copy(update={"devices": ("femoral_frame_then_rod",)})
    within = printed.model_copy(update={"steps": (frame,)})
    other = programme_of(*found, within=within)
    assert other is not None and other.programme.is_open(lengthening=True)


def test_limits_of_print_count_lengthenings_that_have_begun() -> None:
    """The number of a step is that of the whole treatment: rules 1 and 2 differ, others fall to the one without."""
    printed = PrintedProgramme.model_validate(
        {
            **PROGRAMMES["femoral.standard"].model_dump(),
            "steps": [{"stage": "femoral_lengthening", "number": 1, "most_mm": 40}, {"stage": "femoral_lengthening"}],
        }
    )
    first, third = (printed.step_of("femoral_lengthening", number) for number in (1, 3))
    assert first is not None and first.most_mm == 40
    assert third is not None and third.most_mm is None
    assert printed.step_of("tibial_lengthening", 1) is None


@pytest.mark.parametrize("name", ["willow-03", "birch-04"])
def test_harms_are_those_of_the_policy_within_the_range_between_teams(name: str) -> None:
    child, _, ends = solved(name, "")
    found = {one.id: one for one in harms_of(child, ends.lengthened_at, problem(name)[1])}
    assert found[LASTING].of_100 == pytest.approx(100 * ends.harm, rel=1e-6)
    for one in found.values():
        assert 0 < one.low < one.of_100 < one.high


def test_a_level_of_risk_in_the_tables_is_the_range_of_the_counts() -> None:
    """The same lengthenings under tables of the high level, worked out by the tables themselves."""
    child, _, ends = solved("willow-03", "")
    high = programme_of(*problem("willow-03"), level="high")
    assert high is not None
    told = next(one for one in harms_of(child, ends.lengthened_at, problem("willow-03")[1]) if one.id == LASTING)
    by_tables = sum(
        float((at * table.harm).sum())
        for at, table in zip(ends.lengthened_at, high.programme.lengthenings, strict=True)
    )
    assert told.high == pytest.approx(100 * by_tables, rel=1e-6)
