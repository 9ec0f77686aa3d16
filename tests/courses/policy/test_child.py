"""A child's programme: the order of bones, devices on today, wishes, narrower choices, and paths as print has them."""

from __future__ import annotations

import datetime
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from pathway.courses.policy.actions import ARREST, BOTH
from pathway.courses.policy.bone_order import left_mm, order_of
from pathway.courses.policy.child import ChildProgramme, programme_of
from pathway.courses.policy.lengthening_tables import device_months
from pathway.courses.policy.path import Step
from pathway.courses.policy.policy import Policy, best_policy
from pathway.courses.policy.programme import BARRED, REMOVAL
from pathway.courses.policy.risks import JOINTS
from pathway.courses.policy.visits import Frames, sitting_of, waited_of, waits_of
from pathway.courses.problem import CourseProblem
from pathway.growth import fit_growth
from pathway.network import Conflict
from pathway.plan.make import problems_of
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.record import Decision, Operation, Record
from pathway.rule_engine.facts import known_steps
from tests.examples import ON, example
from tests.offenders import for_each
from tests.sample import HEALTHY, at_age, child, decision, operation, visit

LENGTHENED = ("alder-06", "birch-04", "cedar-05", "hazel-08", "rowan-02", "willow-03")
# Series means of one lengthening: 33 to 84 mm, 11 to 33 % of the bone (31 series); 25 % is the upper end of most.
PRACTICE_MM, PRACTICE_PERCENT, MOST_PERCENT, BEFORE_YEARS = (30, 65), 25, 30, 12.5


def problem_of(record: Record, on: datetime.date) -> tuple[CourseProblem, Question]:
    question = Question(record, load_protocol(), on).as_known()
    posterior = fit_growth(question, known_steps=known_steps(question))
    assert posterior is not None
    problems = problems_of(question, posterior)
    assert not isinstance(problems, Conflict)
    return problems[0], question


@cache
def example_problem(name: str) -> tuple[CourseProblem, Question]:
    return problem_of(example(name), ON)


@cache
def solved(name: str) -> tuple[ChildProgramme, Policy]:
    made = programme_of(*example_problem(name))
    assert made is not None
    return made, best_policy(made.programme)


def short_by(
    femur: float,
    tibia: float,
    *,
    age: float = 5.0,
    operations: tuple[Operation, ...] = (),
    decisions: tuple[Decision, ...] = (),
) -> tuple[CourseProblem, Question]:
    """Return a boy whose bones are short by such shares of the other leg's."""
    legs = {"other.femur_length_mm": 260.0, "other.tibia_length_mm": 205.0}
    legs |= {"affected.femur_length_mm": 260 * (1 - femur), "affected.tibia_length_mm": 205 * (1 - tibia)}
    if age > 8:
        legs = {name: 1.4 * mm for name, mm in legs.items()}
    seen = visit(at_age(age), {**HEALTHY, **legs})
    return problem_of(
        child(seen, operations=operations, decisions=decisions), at_age(age) + datetime.timedelta(days=14)
    )


def made_of(problem: CourseProblem, question: Question, **narrower: object) -> ChildProgramme:
    made = programme_of(problem, question, **narrower)  # type: ignore[arg-type]
    assert made is not None
    return made


class TestPathsAsPrintHasThem:
    def early(self) -> list[tuple[Step, float]]:
        found = []
        for name in LENGTHENED:
            made, policy = solved(name)
            for step in policy.path:
                if step.action.amount >= 0 and step.age_years < BEFORE_YEARS:
                    share = made.percent_of(step.visit, step.action.amount, step.number, step.gained)
                    found.append((step, share))
        return found

    def test_eight_of_ten_lengthenings_before_adolescence_are_of_published_size(self) -> None:
        early = self.early()
        usual = [1 for step, share in early if share <= PRACTICE_PERCENT]
        assert len(early) >= 8 and len(usual) >= 0.8 * len(early)

    def test_none_is_beyond_what_was_reported(self) -> None:
        for step, share in self.early():
            assert PRACTICE_MM[0] <= step.mm <= PRACTICE_MM[1] and share <= MOST_PERCENT

    @for_each(["rowan-02", "willow-03"])
    def test_a_child_seen_before_four_with_much_predicted_begins_early(self, name: str) -> None:
        made, policy = solved(name)
        assert 120 <= made.programme.forecast.mean_mm <= 200
        first = policy.path[0]
        assert made.bones[first.number - 1] == "femur" and 3.5 <= first.age_years <= 6.5

    @for_each([0.033, 0.03, 0.02])
    def test_two_centimetres_are_left_alone(self, share: float) -> None:
        problem, question = short_by(share, share / 3)
        assert 10 <= problem.growth.predicted_mm <= 20.5
        made = programme_of(problem, question)
        assert made is None or not best_policy(made.programme).path

    @for_each((*LENGTHENED, "oak-12"))
    def test_no_arrest_inside_a_frame(self, name: str) -> None:
        (made, policy), (problem, _) = solved(name), example_problem(name)
        off = -np.inf
        for step in policy.path:
            if step.action.kind == ARREST:
                assert step.age_years >= off - 1e-6
            if step.action.amount >= 0:
                off = step.age_years + device_months(problem, made.bones[step.number - 1], step.mm) / 12


class TestOrder:
    def test_the_second_bone_has_its_turns_by_its_own_shortening(self) -> None:
        problem, question = short_by(0.25, 0.2)
        turns, made = order_of(problem), made_of(problem, question)
        assert made.two_bones and made.bones == tuple(turn.bone for turn in turns)
        assert turns[0].bone == "femur" and {turn.bone for turn in turns} == {"femur", "tibia"}
        usual = problem.number("practice_long_from_mm")
        tibial = sum(turn.bone == "tibia" for turn in turns)
        assert (tibial - 1) * usual < problem.growth.own_share_mm("tibia")
        for number, turn in enumerate(turns):
            assert turn.own == sum(one.bone == turn.bone for one in turns[:number])
            assert number == 0 or turn.share == turn.own / number

    def test_no_amount_goes_beyond_what_is_left_of_it(self) -> None:
        problem, question = short_by(0.25, 0.2)
        made = made_of(problem, question)
        given, own = made.programme, left_mm(problem)
        gained = given.grid_mm * np.arange(given.gains)
        for number, turn in enumerate(order_of(problem)):
            table = given.tables(number)
            over = given.amounts_mm[:, None] > own - turn.share * gained + 1e-6
            if turn.bone == "tibia":
                assert table.allowed.any() and not table.allowed[:, over].any()
            else:
                assert table.allowed[:, over].any()

    def test_a_share_of_a_bone_is_of_its_own_length(self) -> None:
        problem, question = short_by(0.25, 0.2)
        made = made_of(problem, question)
        given = made.programme
        at = int(np.searchsorted(problem.grid.age_years, given.age_years[4] - 1e-6))
        for number, turn in enumerate(order_of(problem), start=1):
            length = problem.growth.short_mm(turn.bone)[at] + turn.share * given.grid_mm * 8
            assert made.percent_of(4, 2, number, 8) == pytest.approx(100 * given.amounts_mm[2] / length)

    def test_one_bone_where_little_of_the_second_is_missing(self) -> None:
        problem, question = short_by(0.2, 0.02)
        assert set(made_of(problem, question).bones) == {"femur"}

    def test_other_bones_wait_less_than_the_same(self) -> None:
        problem, question = short_by(0.25, 0.2)
        made = made_of(problem, question)
        given, bones = made.programme, made.bones
        first = [
            min(w for w in range(given.waits - 1) if given.when[:, n, w].any()) for n in range(1, min(len(bones), 3))
        ]
        years = problem.protocol.number("next_visit_months") / 12
        for (before, after), waits in zip(pairwise(bones), first, strict=False):
            assert before != after
            assert waits * years < 3


class TestToday:
    def test_a_device_on_today_keeps_arrests_away_until_its_removal(self) -> None:
        begun = operation("femoral_lengthening", at_age(10.2))
        problem, question = short_by(0.2, 0.05, age=10.5, operations=(begun,))
        given = made_of(problem, question).programme
        start, ages = given.start, given.age_years
        assert start.waited < given.waits - 1
        off = 10.2 + device_months(problem, "femur", problem.number("practice_long_from_mm")) / 12
        for visit_at in range(given.waits - 1 - start.waited):
            sitting = given.arrest.sitting[visit_at, start.waited + visit_at]
            if ages[visit_at] < off - 0.01:
                assert sitting == BARRED
        first = int(np.searchsorted(ages, off - 0.01))
        assert given.arrest.sitting[first, start.waited + first] == REMOVAL
        assert best_policy(given).value > 0

    def test_a_device_off_for_long_keeps_nothing_away(self) -> None:
        given = solved("hazel-08")[0].programme
        assert (given.arrest.sitting[0, given.start.waited] != BARRED) and given.start.waited >= 4

    @for_each([(0.5, 0.6), (0.25, 0.6), (0.5, 1.2), (0.25, 1.2), (0.25, 0.2)])
    def test_the_frame_is_kept_for_every_wait(self, apart: float, stays: float) -> None:
        """For a frame of today or later: none while it is on, one sitting at its removal, none for the rest after."""
        ages = 8 + apart * np.arange(24)
        frames = Frames(stays, 0.25, begun_years=7.7, off_years=7.7 + stays, on=7.7 + stays > 8)
        waits = waits_of(ages, 3.0)
        table, waited = sitting_of(ages, 23, waits, frames), waited_of(ages, waits, frames)
        for begun, first_wait in ((7.7, waited), *((float(age), 0) for age in ages[:8])):
            seen = []
            for at in range(23):
                wait = first_wait + at if first_wait else at - round((begun - 8) / apart)
                if wait < 0 or ages[at] < begun:
                    continue
                sitting = int(table[at, min(wait, waits - 1)])
                seen.append(sitting)
                off = begun + stays
                if sitting == REMOVAL:
                    assert ages[at] >= off - 1e-6 and ages[at] - apart < off
                else:
                    assert (sitting == BARRED) == (ages[at] < off + 0.25 - 1e-6)
            assert seen.count(REMOVAL) == (1 if begun + stays > 8 else 0)


class TestNarrowerChoices:
    def test_fewer_lengthenings_or_no_arrest_never_cost_less(self) -> None:
        problem, question = example_problem("alder-06")
        values = [best_policy(made_of(problem, question, most=most).programme).value for most in (0, 1, 2)]
        assert values[0] > values[1] >= values[2] - 1e-4
        whole = solved("alder-06")[1].value
        assert whole <= values[2] + 1e-4
        assert best_policy(made_of(problem, question, arrest=False).programme).value >= whole - 1e-4

    def test_without_a_lengthening_an_arrest_is_still_a_choice(self) -> None:
        problem, question = example_problem("oak-12")
        made = made_of(problem, question, most=0)
        policy = best_policy(made.programme)
        assert made.bones == () and made.programme.most == 0
        assert [step.action.kind for step in policy.path] == [ARREST]
        nothing = best_policy(made_of(problem, question, most=0, arrest=False).programme)
        assert nothing.path == () and nothing.value > policy.value

    def test_only_an_arrest_is_open(self) -> None:
        problem, question = short_by(0.08, 0.03)
        bare = replace(problem, first=replace(problem.first, stages=()), second=replace(problem.second, stages=()))
        assert made_of(bare, question).programme.most == 0


class TestWishes:
    def test_no_more_lengthenings_than_wished(self) -> None:
        wish = decision("at_most_lengthenings", number=1)
        problem, question = short_by(0.25, 0.2, decisions=(wish,))
        assert len(made_of(problem, question).bones) == 1

    def test_a_wished_lift_makes_a_larger_difference_dearer(self) -> None:
        wish = decision("lift_at_most", mm=20.0)
        wished, free = short_by(0.15, 0.05, decisions=(wish,)), short_by(0.15, 0.05)
        costs = made_of(*wished).programme.costs
        assert costs.wish_mm == 20.0 + wished[0].number("lift_less_than_difference_mm") and costs.wish_a_year > 0
        assert best_policy(made_of(*wished).programme).value > best_policy(made_of(*free).programme).value

    def test_no_arrest_where_none_is_wished(self) -> None:
        wish = decision("prefer", prefer="no_growth_arrest")
        policy = best_policy(made_of(*short_by(0.15, 0.05, decisions=(wish,))).programme)
        assert policy.outcome.arrested == 0
        assert not [step for step in policy.path if step.action.kind in (ARREST, BOTH)]


@for_each(["alder-06", "hazel-08", "oak-12"])
def test_a_grid_twice_as_fine_changes_little(name: str) -> None:
    made, policy = solved(name)
    given = made.programme
    fine = best_policy(made_of(*example_problem(name), grid_mm=given.grid_mm / 2).programme)
    assert fine.value == pytest.approx(policy.value, rel=0.01)
    best, other = policy.first.best(), fine.first.best()
    assert best.action.kind == other.action.kind and abs(best.visit - other.visit) <= 1


@for_each([0.045, 0.05, 0.07])
def test_also_where_little_is_predicted(share: float) -> None:
    problem, question = short_by(share, share / 3)
    made = made_of(problem, question)
    fine = made_of(problem, question, grid_mm=made.programme.grid_mm / 2)
    assert best_policy(fine.programme).value == pytest.approx(best_policy(made.programme).value, rel=0.01)


@pytest.mark.parametrize(
    ("complication", "state"),
    [("hip_subluxation", "hip slipped"), ("knee_dislocation", "knee slipped"), ("knee_contracture", "stiff")],
)
def test_what_an_earlier_lengthening_left_in_a_joint_costs_the_next_one(complication: str, state: str) -> None:
    """Rules: `joint_again_operations`, one operation more where a joint slipped or stiffened before."""

    def policy(*complications: str) -> tuple[ChildProgramme, Policy]:
        before = operation(
            "femoral_lengthening",
            at_age(6),
            achieved_mm=45.0,
            device_removed=at_age(6.8),
            complications=complications,
        )
        made = made_of(*short_by(0.2, 0.02, age=10.0, operations=(before,)))
        return made, best_policy(made.programme)

    (_, sound), (made, left) = policy(), policy(complication)
    assert JOINTS[made.programme.start.joint] == state
    lengthened = sum(number * chance for number, chance in enumerate(left.outcome.number))
    again = load_protocol().number("joint_again_operations")
    assert left.outcome.unplanned > sound.outcome.unplanned
    assert left.outcome.unplanned >= again * lengthened
