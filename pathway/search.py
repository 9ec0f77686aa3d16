"""The cheapest ages and amounts for each number of lengthenings of one bone: dynamic programming on a grid.

It knows ages as grid columns, amounts as units of the planning step, and costs as points; no medicine. The
state is (number done, age, length gained so far); the cost is additive, so the result is the true minimum on
the grid for every number and every total gain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.floating[Any]]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """One bone's search. J ages of the grid, units of `step_mm`.

    `limit_mm` (J,) flat limit by age and `limit_share` of the bone; `warn_mm`, `warn_share` the same for
    warnings; `bone_mm` (J,) the bone's length without further lengthening; `difference_mm` (J,) the
    discrepancy without further lengthening; `allowed` and `outside_months` (K, J) for each number; `gap` the
    least columns between two lengthenings; `least` the smallest amount in units; `most_units` the largest
    total gain.
    """

    step_mm: float
    months_a_column: float
    bone_mm: Floats
    difference_mm: Floats
    limit_mm: Floats
    limit_share: float
    warn_mm: float
    warn_share: float
    allowed: npt.NDArray[np.bool_]
    outside_months: Floats
    gap: int
    least: int
    most_units: int
    over_mm: float
    weight_outside: float
    weight_over: float
    weight_warn: float


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """For each number k = 0..K and total gain g (units): the least cost, and how to walk back to it."""

    cost: tuple[Floats, ...]
    _at: tuple[Ints, ...]
    _amount: tuple[Ints, ...]
    _before: tuple[Ints, ...]

    def steps(self, number: int, gain: int) -> list[tuple[int, int]]:
        """Return [(column, units)] of the best way to reach `gain` with `number` lengthenings, in order."""
        found: list[tuple[int, int]] = []
        if number == 0:
            return found
        column = int(self._at[number][gain])
        for k in range(number, 0, -1):
            units = int(self._amount[k][column, gain])
            found.append((column, units))
            column, gain = int(self._before[k][column, gain]), gain - units
        return found[::-1]


def solve(problem: Problem) -> Solution:
    """Return the least cost of every number of lengthenings and total gain; infinite where impossible."""
    columns, totals = len(problem.bone_mm), problem.most_units + 1
    over = _months_over(problem, totals)
    none = np.full(totals, np.inf)
    none[0] = problem.weight_over * over[-1, 0]
    costs, ats = [none], [np.zeros(totals, dtype=np.int64)]
    amounts, befores = (
        [np.zeros((columns, totals), dtype=np.int64)],
        [np.zeros((columns, totals), dtype=np.int64)],
    )
    before = np.full((columns, totals), np.inf)
    before[:, 0] = 0.0
    start = np.zeros((columns, totals), dtype=np.int64)
    for number in range(len(problem.allowed)):
        here, amount, came = _one_more(problem, number, before, start, over)
        ending = here + problem.weight_over * (over[-1] - over)
        at = np.argmin(ending, axis=0)
        costs.append(ending[at, np.arange(totals)])
        ats.append(at)
        amounts.append(amount)
        befores.append(came)
        before, start = _waiting(here - problem.weight_over * over, problem.gap)
    return Solution(tuple(costs), tuple(ats), tuple(amounts), tuple(befores))


def _months_over(problem: Problem, totals: int) -> Floats:
    """Months with more than `over_mm` difference up to each column, for each total gained: (J, G)."""
    gained = problem.step_mm * np.arange(totals)
    above = problem.difference_mm[:, None] - gained[None, :] > problem.over_mm
    months: Floats = np.cumsum(above, axis=0, dtype=np.float64) * float(problem.months_a_column)
    return months


def _one_more(problem: Problem, number: int, before: Floats, start: Ints, over: Floats) -> tuple[Floats, Ints, Ints]:
    columns, totals = before.shape
    here = np.full((columns, totals), np.inf)
    amount = np.zeros((columns, totals), dtype=np.int64)
    came = np.zeros((columns, totals), dtype=np.int64)
    gained = problem.step_mm * np.arange(totals)
    bone = problem.bone_mm[:, None] + gained[None, :]
    limit = np.minimum(problem.limit_mm[:, None], problem.limit_share * bone)
    warn = np.minimum(problem.warn_mm, problem.warn_share * bone)
    outside = problem.weight_outside * problem.outside_months[number][:, None]
    until = before + problem.weight_over * over + outside
    until[~problem.allowed[number], :] = np.inf
    most = min(int(min(float(np.max(limit)), problem.step_mm * totals) // problem.step_mm), problem.most_units)
    for units in range(problem.least, most + 1):
        mm = units * problem.step_mm
        cost = np.where(mm <= limit + 1e-9, until + problem.weight_warn * np.maximum(0.0, mm - warn), np.inf)
        shifted = np.full_like(cost, np.inf)
        shifted[:, units:] = cost[:, : totals - units]
        better = shifted < here - 1e-9
        here = np.where(better, shifted, here)
        amount = np.where(better, units, amount)
        from_column = np.zeros_like(came)
        from_column[:, units:] = start[:, : totals - units]
        came = np.where(better, from_column, came)
    return here, amount, came


def _waiting(value: Floats, gap: int) -> tuple[Floats, Ints]:
    """Least value at least `gap` columns earlier, and the first column where it was: (J, G) each."""
    columns = len(value)
    least = np.minimum.accumulate(value, axis=0)
    before = np.vstack([np.full_like(value[:1], np.inf), least[:-1]])
    rows = np.arange(columns)[:, None]
    first = np.maximum.accumulate(np.where(value < before, rows, 0), axis=0)
    best = np.full_like(value, np.inf)
    where = np.zeros(value.shape, dtype=np.int64)
    if gap < columns:
        best[gap:], where[gap:] = least[: columns - gap], first[: columns - gap]
    return best, where


def as_mm(problem: Problem, steps: Sequence[tuple[int, int]]) -> list[tuple[int, float]]:
    """Return steps with their amounts in mm."""
    return [(column, units * problem.step_mm) for column, units in steps]
