"""The search over ages and amounts is exact: it equals trying everything, and general solvers, to the last unit."""

from __future__ import annotations

import numpy as np
import pytest

from pathway.courses.grid_search import INFEASIBLE, Chain, Ints, Problem, Solution, cheapest, least, no_chain
from tests.offenders import for_each
from tests.outside.solvers.problems import broken, every_way, points_of, random_problem
from tests.outside.solvers.solvers import by_cp_sat, by_highs


def random_score(problem: Problem, seed: int) -> Ints:
    """Return points of every pair of gains: the nearer to some goal the fewer, and a little of the division."""
    rng = np.random.default_rng(seed)
    first, second = np.arange(problem.first.gains), np.arange(problem.second.gains)
    total = first[:, None] + second[None, :]
    goal = rng.integers(0, total.max() + 1)
    return 1000 * np.abs(total - goal) + int(rng.integers(0, 50)) * second[None, :]


def best_of(ways: dict[tuple[int, int], int], score: Ints) -> int | None:
    return min((cost + int(score[gains]) for gains, cost in ways.items()), default=None)


class TestTryingEverything:
    @for_each(range(80), parts=4)
    def test_one_bone_every_number_and_gain(self, seed: int) -> None:
        problem = random_problem(seed, columns=4 + seed % 4, numbers=(1 + seed % 3, 0), gains=(9, 0), most=5)
        solution = Solution(problem)
        for number in range(problem.first.numbers + 1):
            ways, cost = every_way(problem, (number, 0)), solution.cost((number, 0))
            assert {gains: cost[gains] for gains in ways} == ways
            assert int(np.sum(cost < INFEASIBLE)) == len(ways)

    @for_each(range(80), parts=4)
    def test_two_bones_share_the_years(self, seed: int) -> None:
        problem = random_problem(seed, columns=6, numbers=(2, 1 + seed % 2), gains=(8, 6), most=4)
        score, solution = random_score(problem, seed), Solution(problem)
        for numbers in ((1, 1), (2, 1), (2, problem.second.numbers)):
            found = cheapest(solution, numbers, score)
            assert (None if found is None else found[0]) == best_of(every_way(problem, numbers), score)

    def test_some_of_these_need_the_gap_around_the_other_bone(self) -> None:
        """The second pass of the search is really used: without it some answers would break a waiting time."""
        closed = 0
        for seed in range(80):
            problem = random_problem(seed, columns=6, numbers=(2, 1), gains=(8, 6), most=4)
            score, solution = random_score(problem, seed), Solution(problem)
            found = cheapest(solution, (2, 1), score)
            bound = least(solution, (2, 1), score)
            closed += found is None or (bound is not None and found[0] > bound)
        assert closed >= 5


class TestTheWay:
    @for_each(range(60), parts=4)
    def test_it_keeps_every_rule_and_costs_what_it_says(self, seed: int) -> None:
        problem = random_problem(seed, columns=24, numbers=(3, 2), gains=(20, 12), most=8)
        score = random_score(problem, seed)
        found = cheapest(Solution(problem), (3, 2), score)
        assert found is not None
        value, steps = found
        assert broken(problem, steps) == ""
        gains = tuple(sum(step.units for step in steps if step.chain == at) for at in (0, 1))
        assert points_of(problem, steps) + int(score[gains]) == value

    def test_the_same_problem_gives_the_same_way(self) -> None:
        problem = random_problem(3, columns=24, numbers=(3, 2), gains=(20, 12), most=8)
        score = random_score(problem, 3)
        assert cheapest(Solution(problem), (3, 1), score) == cheapest(Solution(problem), (3, 1), score)

    def test_no_way_is_said(self) -> None:
        problem = random_problem(1, columns=6, numbers=(2, 0), gains=(8, 0), most=4)
        shut = Chain(**{**_fields(problem.first), "most": np.zeros_like(problem.first.most)})
        solution = Solution(Problem(shut, no_chain(6), problem.over))
        assert cheapest(solution, (1, 0), random_score(problem, 1)) is None
        with pytest.raises(ValueError, match="no way"):
            solution.steps((1, 0), (3, 0))


class TestGeneralSolvers:
    """OR-Tools CP-SAT and HiGHS know nothing of this search; both get the rules of the problem alone."""

    @pytest.mark.parametrize("block", range(20))
    def test_cp_sat_one_bone(self, block: int) -> None:
        for seed in range(10 * block, 10 * block + 10):
            problem = random_problem(seed, columns=9, numbers=(1 + seed % 3, 0), gains=(11, 0), most=4)
            self._same(problem, (problem.first.numbers, 0), random_score(problem, seed))

    @pytest.mark.parametrize("block", range(10))
    def test_cp_sat_two_bones(self, block: int) -> None:
        for seed in range(1000 + 10 * block, 1010 + 10 * block):
            problem = random_problem(seed, columns=8, numbers=(2, 1 + seed % 2), gains=(9, 6), most=4)
            self._same(problem, (2, problem.second.numbers), random_score(problem, seed))

    @pytest.mark.parametrize("block", range(10))
    def test_highs_one_bone(self, block: int) -> None:
        for seed in range(2000 + 4 * block, 2004 + 4 * block):
            problem = random_problem(seed, columns=12, numbers=(1 + seed % 3, 0), gains=(14, 0), most=6)
            score = random_score(problem, seed)
            found = cheapest(Solution(problem), (problem.first.numbers, 0), score)
            assert (None if found is None else found[0]) == by_highs(problem, problem.first.numbers, score), seed

    @staticmethod
    def _same(problem: Problem, numbers: tuple[int, int], score: Ints) -> None:
        found = cheapest(Solution(problem), numbers, score)
        assert (None if found is None else found[0]) == by_cp_sat(problem, numbers, score)


class TestLooser:
    @for_each(range(40), parts=2)
    def test_a_looser_limit_never_makes_the_best_worse(self, seed: int) -> None:
        rng = np.random.default_rng(seed)
        problem = random_problem(seed, columns=14, numbers=(2, 1), gains=(14, 8), most=6)
        score = random_score(problem, seed)
        looser = Chain(**{**_fields(problem.first), "limit": problem.first.limit + rng.integers(0, 3, (14, 1))})
        for numbers in ((1, 0), (2, 0), (2, 1)):
            tight = cheapest(Solution(problem), numbers, score)
            loose = cheapest(Solution(Problem(looser, problem.second, problem.over)), numbers, score)
            assert tight is None or (loose is not None and loose[0] <= tight[0])


def _fields(chain: Chain) -> dict[str, object]:
    return {name: getattr(chain, name) for name in Chain.__slots__}
