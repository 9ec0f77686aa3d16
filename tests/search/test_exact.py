"""The search over ages and amounts is exact: it equals trying everything, on small random problems."""

from __future__ import annotations

from itertools import combinations, pairwise, product

import numpy as np
import pytest

from pathway.search import Problem, as_mm, solve

STEP = 5.0


def random_problem(seed: int) -> Problem:
    """Return a small problem: 4 to 7 ages, up to three lengthenings, a growing bone and a growing difference."""
    rng = np.random.default_rng(seed)
    columns, numbers = int(rng.integers(4, 8)), int(rng.integers(1, 4))
    return Problem(
        step_mm=STEP,
        months_a_column=3.0,
        bone_mm=np.sort(rng.uniform(60, 160, columns)),
        difference_mm=np.sort(rng.uniform(0, 70, columns)),
        limit_mm=rng.choice([15.0, 20.0, 25.0, np.inf], columns),
        limit_share=float(rng.choice([0.15, 0.3])),
        warn_mm=float(rng.choice([10.0, 20.0, np.inf])),
        warn_share=float(rng.choice([0.1, 0.2, np.inf])),
        allowed=rng.random((numbers, columns)) < 0.8,
        outside_months=rng.integers(0, 5, (numbers, columns)).astype(float),
        gap=int(rng.integers(1, 4)),
        least=int(rng.integers(1, 3)),
        most_units=int(rng.integers(4, 13)),
        over_mm=25.0,
        weight_outside=1.0,
        weight_over=float(rng.choice([0.0, 0.25, 1.0])),
        weight_warn=0.5,
    )


def most_at(problem: Problem, column: int, gained_mm: float) -> float:
    share = problem.limit_share * (problem.bone_mm[column] + gained_mm)
    return float(min(problem.limit_mm[column], share))


def cost_of(problem: Problem, steps: list[tuple[int, int]]) -> float:
    """Return the cost of a way, or infinity where it breaks a limit, a window or the gap between two."""
    gained, total, last = 0.0, 0.0, None
    for number, (column, units) in enumerate(steps):
        mm = units * problem.step_mm
        if not problem.allowed[number, column] or mm > most_at(problem, column, gained) + 1e-9:
            return float("inf")
        if units < problem.least or (last is not None and column - last < problem.gap):
            return float("inf")
        bone = problem.bone_mm[column] + gained
        warn = min(problem.warn_mm, problem.warn_share * bone)
        total += problem.weight_outside * problem.outside_months[number, column]
        total += problem.weight_warn * max(0.0, mm - warn)
        gained, last = gained + mm, column
    for column, difference in enumerate(problem.difference_mm):
        so_far = sum(units * problem.step_mm for at, units in steps if at < column)
        total += problem.weight_over * problem.months_a_column * (difference - so_far > problem.over_mm)
    return total


def every_way(problem: Problem, number: int) -> dict[int, float]:
    """Return the least cost for each total gain (units) by trying every age and every amount."""
    best: dict[int, float] = {}
    columns = range(len(problem.bone_mm))
    amounts = range(problem.least, problem.most_units + 1)
    for chosen in combinations(columns, number):
        if any(b - a < problem.gap for a, b in pairwise(chosen)):
            continue
        for units in product(amounts, repeat=number):
            total = sum(units)
            if total > problem.most_units:
                continue
            cost = cost_of(problem, list(zip(chosen, units, strict=True)))
            if cost < best.get(total, float("inf")):
                best[total] = cost
    return best


@pytest.mark.parametrize("seed", range(120))
def test_the_least_cost_of_every_number_and_gain_equals_trying_everything(seed) -> None:
    problem = random_problem(seed)
    solution = solve(problem)
    assert len(solution.cost) == len(problem.allowed) + 1
    for number in range(1, len(problem.allowed) + 1):
        expected = every_way(problem, number)
        for gain, cost in enumerate(solution.cost[number]):
            assert cost == pytest.approx(expected.get(gain, float("inf")), abs=1e-6), (number, gain)


@pytest.mark.parametrize("seed", range(120))
def test_the_way_back_adds_up_keeps_every_limit_and_costs_what_was_said(seed) -> None:
    problem = random_problem(seed)
    solution = solve(problem)
    for number in range(1, len(problem.allowed) + 1):
        for gain, cost in enumerate(solution.cost[number]):
            if not np.isfinite(cost):
                continue
            steps = solution.steps(number, gain)
            assert len(steps) == number
            assert sum(units for _, units in steps) == gain
            assert cost_of(problem, steps) == pytest.approx(cost, abs=1e-6)
            assert sum(mm for _, mm in as_mm(problem, steps)) == gain * STEP


def test_the_random_problems_are_neither_all_possible_nor_all_impossible() -> None:
    finite = [np.isfinite(solve(random_problem(seed)).cost[1]).any() for seed in range(120)]
    two = [
        np.isfinite(solve(random_problem(seed)).cost[2]).any()
        for seed in range(120)
        if len(random_problem(seed).allowed) > 1
    ]
    assert sum(finite) > 60
    assert 10 < sum(two) < len(two)


class TestByHand:
    """Small problems whose answer can be read off."""

    @staticmethod
    def problem(**changed) -> Problem:
        base = {
            "step_mm": 5.0,
            "months_a_column": 3.0,
            "bone_mm": np.full(4, 200.0),
            "difference_mm": np.full(4, 40.0),
            "limit_mm": np.full(4, 60.0),
            "limit_share": 0.3,
            "warn_mm": np.inf,
            "warn_share": np.inf,
            "allowed": np.ones((2, 4), dtype=bool),
            "outside_months": np.zeros((2, 4)),
            "gap": 2,
            "least": 4,
            "most_units": 12,
            "over_mm": 25.0,
            "weight_outside": 1.0,
            "weight_over": 0.25,
            "weight_warn": 0.5,
        }
        return Problem(**{**base, **changed})

    def test_without_a_lengthening_nothing_is_gained_and_every_month_counts(self) -> None:
        cost = solve(self.problem()).cost[0]
        assert cost[0] == 0.25 * 3 * 4
        assert np.isinf(cost[1:]).all()
        assert solve(self.problem()).steps(0, 0) == []

    def test_the_earliest_age_saves_the_most_months_with_a_large_difference(self) -> None:
        assert solve(self.problem()).steps(1, 8) == [(0, 8)]

    def test_a_month_outside_the_usual_age_can_outweigh_them(self) -> None:
        outside = np.array([[9.0, 9.0, 0.0, 0.0]] * 2)
        assert solve(self.problem(outside_months=outside)).steps(1, 8) == [(2, 8)]

    def test_less_than_the_least_amount_is_never_planned(self) -> None:
        cost = solve(self.problem()).cost[1]
        assert np.isinf(cost[1:4]).all()
        assert np.isfinite(cost[4:13]).all()

    def test_the_share_of_the_bone_binds_where_it_is_lower(self) -> None:
        cost = solve(self.problem(bone_mm=np.full(4, 100.0))).cost[1]
        assert np.isfinite(cost[6])
        assert np.isinf(cost[7:]).all()

    def test_the_first_gain_makes_the_bone_longer_for_the_second(self) -> None:
        # 30 % of 100 mm is 30 mm; after 30 mm gained 30 % of 130 mm is 39 mm, so 35 mm more.
        cost = solve(self.problem(bone_mm=np.full(4, 100.0), most_units=20)).cost[2]
        assert np.isfinite(cost[6 + 7])
        assert np.isinf(cost[6 + 8 :]).all()

    def test_two_lengthenings_keep_their_distance(self) -> None:
        steps = solve(self.problem()).steps(2, 12)
        assert steps[1][0] - steps[0][0] >= 2

    def test_where_two_do_not_fit_there_is_no_way(self) -> None:
        assert np.isinf(solve(self.problem(gap=4)).cost[2]).all()

    def test_a_warning_costs_but_does_not_forbid(self) -> None:
        plain, warned = solve(self.problem()).cost[1][8], solve(self.problem(warn_mm=30.0)).cost[1][8]
        assert warned == pytest.approx(plain + 0.5 * 10)

    def test_an_age_that_is_not_allowed_is_never_chosen(self) -> None:
        allowed = np.ones((2, 4), dtype=bool)
        allowed[0, 0] = False
        assert solve(self.problem(allowed=allowed)).steps(1, 8) == [(1, 8)]
