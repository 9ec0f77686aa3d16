"""Random search problems of the planner's kind, and what a way of one costs, counted plainly step by step."""

from __future__ import annotations

from itertools import combinations, pairwise, product

import numpy as np

from pathway.courses.grid_search import Chain, Problem, Step, no_chain


def random_chain(rng: np.random.Generator, columns: int, numbers: int, gains: int, most: int) -> Chain:
    """Return one bone: windows by number, limits by age and length, points, waiting times that rise with amount."""
    limit = rng.integers(2, most + 1, (columns, 1)) + rng.integers(0, 2, (columns, gains))
    wait, other = rng.integers(1, 4), rng.integers(0, 4)
    return Chain(
        most=np.where(rng.random((numbers, columns)) < 0.8, rng.integers(2, most + 1, (numbers, columns)), 0),
        limit=limit,
        age_points=rng.integers(0, 400, (numbers, columns)),
        amount_points=np.cumsum(rng.integers(0, 90, most + 1)),
        warn_points=np.cumsum(rng.integers(0, 60, (columns, gains, most + 1)), axis=2),
        wait=wait + np.cumsum(rng.integers(0, 2, most + 1)),
        wait_other=other + np.cumsum(rng.integers(0, 2, most + 1)),
        least=int(rng.integers(1, 3)),
    )


def random_problem(seed: int, *, columns: int, numbers: tuple[int, int], gains: tuple[int, int], most: int) -> Problem:
    """Return a problem; a second number of 0 is a child with one bone to lengthen."""
    rng = np.random.default_rng(seed)
    first = random_chain(rng, columns, numbers[0], gains[0], most)
    second = random_chain(rng, columns, numbers[1], gains[1], most) if numbers[1] else no_chain(columns)
    totals = first.gains + second.gains - 1
    # A month counts while the difference is large: less often the more was gained.
    month = np.sort(rng.integers(0, 80, (columns, totals)), axis=1)[:, ::-1]
    over = np.concatenate((np.zeros((1, totals), int), np.cumsum(month, axis=0)))
    return Problem(first, second, over)


def broken(problem: Problem, steps: tuple[Step, ...]) -> str:
    """Return the first rule that a way breaks, "" when it keeps all."""
    gained, count = [0, 0], [0, 0]
    ordered = sorted(steps, key=lambda one: one.column)
    for step in ordered:
        chain = problem.chains[step.chain]
        if step.units < chain.least:
            return "smaller than the least"
        if step.units > chain.most[count[step.chain], step.column]:
            return "outside its window"
        if step.units > chain.limit[step.column, gained[step.chain]]:
            return "over its limit"
        gained[step.chain] += step.units
        count[step.chain] += 1
    for one, two in combinations(ordered, 2):
        needed = [_wait(problem, one, two)] + ([_wait(problem, two, one)] if one.column == two.column else [])
        if two.column - one.column < min(needed):
            return "too soon after another"
    return ""


def _wait(problem: Problem, one: Step, two: Step) -> int:
    chain = problem.chains[one.chain]
    return int((chain.wait if one.chain == two.chain else chain.wait_other)[one.units])


def points_of(problem: Problem, steps: tuple[Step, ...]) -> int:
    """Return what a way costs: its lengthenings, and every column at the total gained by then."""
    gained, count, total = [0, 0], [0, 0], 0
    ordered = sorted(steps, key=lambda one: one.column)
    for step in ordered:
        chain = problem.chains[step.chain]
        total += int(chain.age_points[count[step.chain], step.column] + chain.amount_points[step.units])
        total += int(chain.warn_points[step.column, gained[step.chain], step.units])
        gained[step.chain] += step.units
        count[step.chain] += 1
    for column in range(len(problem.over) - 1):
        so_far = sum(step.units for step in ordered if step.column <= column)
        total += int(problem.over[column + 1, so_far] - problem.over[column, so_far])
    return total


def every_way(problem: Problem, numbers: tuple[int, int]) -> dict[tuple[int, int], int]:
    """Return the least cost for each pair of total gains, by trying every age and every amount of both bones."""
    best: dict[tuple[int, int], int] = {}
    one, two = (list(_ways(problem, at, numbers[at])) for at in (0, 1))
    for first, second in product(one, two):
        steps = (*first, *second)
        gains = sum(step.units for step in first), sum(step.units for step in second)
        if gains[0] >= problem.first.gains or gains[1] >= problem.second.gains or broken(problem, steps):
            continue
        cost = points_of(problem, steps)
        best[gains] = min(best.get(gains, cost), cost)
    return best


def _ways(problem: Problem, at: int, number: int):
    chain = problem.chains[at]
    largest = len(chain.wait) - 1
    for columns in combinations(range(problem.first.limit.shape[0]), number):
        for units in product(range(chain.least, largest + 1), repeat=number):
            steps = tuple(Step(at, column, u) for column, u in zip(columns, units, strict=True))
            if sum(units) < chain.gains and all(b.column - a.column >= chain.wait[a.units] for a, b in pairwise(steps)):
                yield steps
