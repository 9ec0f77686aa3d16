"""The cheapest ages and amounts for each number of lengthenings of two bones: dynamic programming on a grid.

It knows ages as grid columns, amounts as units of the planning step, and costs as whole points; no medicine. Each
bone is a chain of lengthenings. All costs are whole numbers, so that two ways compare without rounding and any
other solver must come to the same last point.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.floating[Any]]
Ints = npt.NDArray[np.signedinteger[Any]]
Numbers = tuple[int, int]
"""How many lengthenings of the first and of the second chain."""

INFEASIBLE = 10**9
"""The cost of what cannot be."""
_HARDLY = INFEASIBLE // 2
_BEYOND = 2**62


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """The lengthenings of one bone, at most K of them at J ages, amounts in units up to U.

    `most` (K, J) is the largest amount by window and wishes, 0 where none may start; `limit` (J, G) the largest
    by the bone's length with so many units gained before; `age_points` (K, J), `amount_points` (U + 1,) and
    `warn_points` (J, G, U + 1) what a lengthening costs; `wait` and `wait_other` (U + 1,) the columns from one
    of that amount to the next of this bone, and of the other one; `least` the smallest amount in units.
    """

    most: Ints
    limit: Ints
    age_points: Ints
    amount_points: Ints
    warn_points: Ints
    wait: Ints
    wait_other: Ints
    least: int

    @property
    def numbers(self) -> int:
        """Return the most lengthenings of this bone."""
        return len(self.most)

    @property
    def gains(self) -> int:
        """Return the number of possible total gains, 0 among them."""
        return int(self.limit.shape[1])

    def most_gained(self, number: int) -> int:
        """Return the most units that the first so many lengthenings can gain together."""
        return min(int(self.most[:number].max(axis=1, initial=0).sum()), self.gains - 1)


NO_CHAIN_GAINS = 1


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """Two chains, and `over` (J + 1, G1 + G2 - 1): points gathered up to each column at each total gained.

    `order` fixes who comes first: (a, b, True) has the first chain's lengthening a (from 0) before the second's b.
    """

    first: Chain
    second: Chain
    over: Ints
    order: frozenset[tuple[int, int, bool]] = frozenset()

    @property
    def chains(self) -> tuple[Chain, Chain]:
        """Return both chains."""
        return self.first, self.second

    def may_follow(self, done: Numbers, at: int) -> bool:
        """Return whether the order lets the next lengthening of a chain come when so many are done."""
        for first, second, before in self.order:
            if at == 0 and done[0] == first and (done[1] > second) == before:
                return False
            if at == 1 and done[1] == second and (done[0] > first) != before:
                return False
        return True


@dataclass(frozen=True, slots=True)
class Step:
    """A lengthening of chain 0 or 1: its column and its amount in units."""

    chain: int
    column: int
    units: int


def no_chain(columns: int) -> Chain:
    """Return the chain of a bone that is not lengthened."""
    none = np.zeros(1, np.int64)
    return Chain(
        most=np.zeros((0, columns), np.int64),
        limit=np.zeros((columns, NO_CHAIN_GAINS), np.int64),
        age_points=np.zeros((0, columns), np.int64),
        amount_points=none,
        warn_points=np.zeros((columns, 1, 1), np.int64),
        wait=none,
        wait_other=none,
        least=1,
    )


class Solution:
    """The least cost of every number of lengthenings and every pair of gains, and the way to it.

    Waiting times are kept between neighbours in time, whichever bones they are of; `cheapest` closes the gaps
    between those that have others in between.
    """

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        gains = [chain.gains for chain in problem.chains]
        total = np.add.outer(np.arange(gains[0]), np.arange(gains[1]))
        self._over = problem.over.astype(np.int32)[:, total]
        self._shape = (len(problem.over) - 1, *gains)
        self._ready: dict[tuple[Numbers, int], Ints] = {}
        self._best: dict[Numbers, Ints] = {}
        self._solve()

    def cost(self, numbers: Numbers) -> Ints:
        """Return the least cost (G1, G2) of exactly so many lengthenings; INFEASIBLE where there is no way."""
        if numbers not in self._best:
            return np.full(self._shape[1:], INFEASIBLE, np.int32)
        best = self._best[numbers]
        return np.where(best < _HARDLY, best + self._over[-1], INFEASIBLE)

    def steps(self, numbers: Numbers, gains: Numbers) -> tuple[Step, ...]:
        """Return the cheapest way to `gains`, in order of age.

        Among equals the one whose last lengthening comes first in chain, then in age, then is the larger.
        Raises ValueError where there is no way.
        """
        value = int(self._best[numbers][gains]) if numbers in self._best else INFEASIBLE
        if value >= _HARDLY:
            raise ValueError(f"there is no way to {gains} with {numbers} lengthenings")
        found: list[Step] = []
        while sum(numbers):
            step, value = self._last_step(numbers, gains, value, found[-1] if found else None)
            found.append(step)
            numbers, gains = _less(numbers, step.chain), _less(gains, step.chain, step.units)
        return tuple(found[::-1])

    def _solve(self) -> None:
        start = np.full(self._shape, INFEASIBLE, np.int32)
        start[:, 0, 0] = 0
        self._best[0, 0] = start[0].copy()
        first, second = (range(chain.numbers + 1) for chain in self.problem.chains)
        for numbers in sorted(itertools.product(first, second), key=lambda pair: (sum(pair), pair)):
            for at in (0, 1):
                if numbers == (0, 0):
                    self._ready[numbers, at] = start
                elif (numbers, at) in self._ready:
                    reached = self._ready[numbers, at][:, *self._gained(numbers)]
                    np.minimum.accumulate(reached, axis=0, out=reached)
            for at, chain in enumerate(self.problem.chains):
                may = self.problem.may_follow(numbers, at)
                if may and numbers[at] < chain.numbers and (numbers, at) in self._ready:
                    self._one_more(numbers, at)

    def _one_more(self, numbers: Numbers, at: int) -> None:
        """Add one lengthening of a chain to every way with `numbers`."""
        chain, after = self.problem.chains[at], _more(numbers, at)
        rows = np.flatnonzero(chain.most[numbers[at]])
        if not len(rows):
            return
        span = slice(int(rows[0]), int(rows[-1]) + 1)
        most = chain.most[numbers[at], span][:, None]
        gained = self._gained(numbers)
        before = self._ready[numbers, at][span, *gained] + self._over[:-1][span, *gained]
        before += chain.age_points[numbers[at], span].astype(np.int32)[:, None, None]
        allowed = np.minimum(most, chain.limit[span, gained[at]])
        warn = chain.warn_points[span, gained[at]]
        if after not in self._best:
            self._best[after] = np.full(self._shape[1:], INFEASIBLE, np.int32)
        ends = self._best[after]
        low, high = gained[at].start, gained[at].stop
        for units in range(chain.least, min(int(allowed.max(initial=0)), chain.gains - 1) + 1):
            kept = min(chain.gains - units, high) - low
            if kept <= 0:
                break
            own = np.where(allowed[:, :kept] >= units, warn[:, :kept, units] + chain.amount_points[units], INFEASIBLE)
            into = _at(gained, at, slice(low + units, low + units + kept))
            value = before[:, *_at((slice(None), slice(None)), at, slice(kept))] + _along(own.astype(np.int32), at)
            value -= self._over[:-1][span, *into]
            np.minimum(ends[into], value.min(axis=0), out=ends[into])
            for to, wait in ((at, chain.wait[units]), (1 - at, chain.wait_other[units])):
                if after[to] < self.problem.chains[to].numbers:
                    self._push(after, to, span.start + int(wait), into, value)

    def _gained(self, numbers: Numbers) -> tuple[slice, slice]:
        """Return the gains of both chains that so many lengthenings can come to: each at least, each at most."""
        first, second = (
            slice(min(number * chain.least, chain.gains), chain.most_gained(number) + 1)
            for number, chain in zip(numbers, self.problem.chains, strict=True)
        )
        return first, second

    def _push(self, numbers: Numbers, at: int, column: int, gains: tuple[slice, slice], value: Ints) -> None:
        if (numbers, at) not in self._ready:
            self._ready[numbers, at] = np.full(self._shape, INFEASIBLE, np.int32)
        ready = self._ready[numbers, at]
        rows = min(len(value), len(ready) - column)
        if rows > 0:
            into = ready[column : column + rows, *gains]
            np.minimum(into, value[:rows], out=into)

    def _last_step(self, numbers: Numbers, gains: Numbers, value: int, later: Step | None) -> tuple[Step, int]:
        """Return the last lengthening of a way of so much value, and the value of the way before it."""
        for at, chain in enumerate(self.problem.chains):
            if not numbers[at]:
                continue
            before, number = _less(numbers, at), numbers[at] - 1
            if (before, at) not in self._ready or not self.problem.may_follow(before, at):
                continue
            for units in range(min(gains[at], int(chain.most[number].max())), chain.least - 1, -1):
                left = _less(gains, at, units)
                if min(left) < 0:
                    continue
                ready = self._ready[before, at][:, left[0], left[1]]
                own = chain.warn_points[:, left[at], units] + chain.amount_points[units] + chain.age_points[number]
                cost = ready + self._over[:-1, left[0], left[1]] + own - self._over[:-1, gains[0], gains[1]]
                fits = np.minimum(chain.most[number], chain.limit[:, left[at]]) >= units
                if later is not None:
                    wait = (chain.wait if later.chain == at else chain.wait_other)[units]
                    fits &= np.arange(len(cost)) + wait <= later.column
                columns = np.flatnonzero(fits & (cost == value) & (ready < _HARDLY))
                if len(columns):
                    return Step(at, int(columns[0]), units), int(ready[columns[0]])
        raise ValueError("the way to a cost was lost: a fault of the search")


def cheapest(solution: Solution, numbers: Numbers, score: Ints) -> tuple[int, tuple[Step, ...]] | None:
    """Return the least of cost + `score` (G1, G2) over all ways that keep every waiting time, and that way.

    Best-first: where two lengthenings lie too close with another one in between, the ways split into those that
    avoid it in one of three ways, each solved again. None where there is no way at all.
    """
    order = itertools.count()
    waiting: list[tuple[int, int, Solution]] = []

    def offer(solved: Solution) -> None:
        value = least(solved, numbers, score)
        if value is not None:
            heapq.heappush(waiting, (value, next(order), solved))

    offer(solution)
    while waiting:
        value, _, solved = heapq.heappop(waiting)
        total = _scored(solved, numbers, score)
        at = np.unravel_index(int(np.argmin(total)), total.shape)
        steps = solved.steps(numbers, (int(at[0]), int(at[1])))
        clash = next(_clashes(solved.problem, steps), None)
        if clash is None:
            return value, steps
        for narrower in _split(_only(solved.problem, numbers), clash):
            offer(Solution(narrower))
    return None


def least(solution: Solution, numbers: Numbers, score: Ints) -> int | None:
    """Return a lower bound of `cheapest`: the least of cost + `score`, or None where there is no way."""
    value = int(_scored(solution, numbers, score).min())
    return None if value == _BEYOND else value


def _scored(solution: Solution, numbers: Numbers, score: Ints) -> Ints:
    cost = solution.cost(numbers)
    return np.where(cost < INFEASIBLE, cost + score.astype(np.int64), _BEYOND)


@dataclass(frozen=True, slots=True)
class _Clash:
    """Two lengthenings that lie too close: chain and number of each, their steps, and the waiting times."""

    one: tuple[int, int]
    two: tuple[int, int]
    earlier: Step
    later: Step
    wait: Ints


def _clashes(problem: Problem, steps: tuple[Step, ...]) -> Iterator[_Clash]:
    count = [0, 0]
    placed: list[tuple[tuple[int, int], Step]] = []
    for step in steps:
        here = (step.chain, count[step.chain])
        for before, one in placed:
            chain = problem.chains[one.chain]
            wait = chain.wait if one.chain == step.chain else chain.wait_other
            if step.column - one.column < wait[one.units]:
                yield _Clash(before, here, one, step, wait)
        placed.append((here, step))
        count[step.chain] += 1


def _split(problem: Problem, clash: _Clash) -> Iterator[Problem]:
    """Yield problems that together hold every allowed way; none of them holds the two steps in that order."""
    (at, number), (to, other) = clash.one, clash.two
    if at != to:
        pair = (number, other) if at == 0 else (other, number)
        if not any(fixed[:2] == pair for fixed in problem.order):
            for before in (True, False):
                yield replace(problem, order=problem.order | {(*pair, before)})
            return
    # Waiting times never fall with the amount: the last branch keeps the amounts for which the time is enough.
    columns = np.arange(problem.first.limit.shape[0])
    apart = clash.later.column - clash.earlier.column
    small = int(np.sum(clash.wait <= apart)) - 1
    late = columns >= clash.earlier.column
    yield _capped(problem, clash.one, np.where(late, 0, INFEASIBLE))
    yield _capped(
        _capped(problem, clash.one, np.where(late, INFEASIBLE, 0)),
        clash.two,
        np.where(columns > clash.later.column, INFEASIBLE, 0),
    )
    yield _capped(
        _capped(problem, clash.one, np.where(late, small, 0)),
        clash.two,
        np.where(columns > clash.later.column, 0, INFEASIBLE),
    )


def _only(problem: Problem, numbers: Numbers) -> Problem:
    """Return the problem without the lengthenings beyond `numbers`."""

    def cut(chain: Chain, number: int) -> Chain:
        return replace(chain, most=chain.most[:number], age_points=chain.age_points[:number])

    return replace(problem, first=cut(problem.first, numbers[0]), second=cut(problem.second, numbers[1]))


def _capped(problem: Problem, which: tuple[int, int], most: Ints) -> Problem:
    """Return the problem with a lower largest amount at each age for one lengthening of a chain."""
    at, number = which
    chain = problem.chains[at]
    lower = chain.most.copy()
    lower[number] = np.minimum(lower[number], np.maximum(most, 0))
    changed = replace(chain, most=lower)
    return replace(problem, first=changed) if at == 0 else replace(problem, second=changed)


def _more(pair: Numbers, at: int) -> Numbers:
    return (pair[0] + 1, pair[1]) if at == 0 else (pair[0], pair[1] + 1)


def _less(pair: Numbers, at: int, by: int = 1) -> Numbers:
    return (pair[0] - by, pair[1]) if at == 0 else (pair[0], pair[1] - by)


def _at(pair: tuple[slice, slice], at: int, new: slice) -> tuple[slice, slice]:
    return (new, pair[1]) if at == 0 else (pair[0], new)


def _along(own: Ints, at: int) -> Ints:
    return own[:, :, None] if at == 0 else own[:, None, :]
