"""The first operation: what it costs to commit to each, how close the next best comes, and what waiting is worth."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pathway.courses.policy.actions import ARREST, WAIT, Action
from pathway.courses.policy.induction import Solved
from pathway.courses.policy.programme import Floats, Programme


@dataclass(frozen=True, slots=True)
class Commitment:
    """To do nothing before a visit and then this, whatever the forecast is then; after it as is best.

    Nothing at all is WAIT at the last visit. `cost` is expected from today on; `mm` the amount of a lengthening or
    the mean effect of an arrest (of a lengthening with an arrest, the lengthening's).
    """

    visit: int
    age_years: float
    action: Action
    mm: float
    cost: float


@dataclass(frozen=True, slots=True, eq=False)
class First:
    """Every first operation: `cost` (T + 1, A) by visit and action (infinite where not allowed; at T only WAIT)."""

    programme: Programme
    actions: tuple[Action, ...]
    cost: Floats
    today: dict[Action, float]
    """What each thing that may be done today costs, as is best afterwards; the least is the value (class hidden)."""

    def commitments(self) -> tuple[Commitment, ...]:
        """Return all that is allowed, the cheapest first."""
        return tuple(self._by_cost())

    def _by_cost(self) -> Iterator[Commitment]:
        visits, codes = np.nonzero(np.isfinite(self.cost))
        for at in np.argsort(self.cost[visits, codes], kind="stable"):
            yield self._at(int(visits[at]), int(codes[at]))

    def best(self) -> Commitment:
        """Return the cheapest."""
        return next(self._by_cost())

    def other(self) -> Commitment | None:
        """Return the cheapest that is another choice than the best: of another kind, or farther than near."""
        others = self._by_cost()
        first = next(others)
        return next((one for one in others if not same_choice(self.programme, first, one)), None)

    def gap(self) -> float | None:
        """Return what the best other first operation costs more than the best, None where there is no other."""
        other = self.other()
        return None if other is None else other.cost - self.best().cost

    def waiting(self) -> float | None:
        """Return what waiting until the next visit saves against the best operation today, None if none is allowed.

        Below 0 it is what waiting costs.
        """
        operations = [cost for action, cost in self.today.items() if action.kind != WAIT]
        return min(operations) - self.today[Action(WAIT)] if operations else None

    def _at(self, visit: int, code: int) -> Commitment:
        action = self.actions[code]
        age = float(self.programme.age_years[visit])
        return Commitment(visit, age, action, mm_of(self.programme, visit, action), float(self.cost[visit, code]))


def mm_of(programme: Programme, visit: int, action: Action) -> float:
    """Return the amount of a lengthening, or the mean effect of an arrest; 0 where nothing is done."""
    if action.amount >= 0:
        return float(programme.amounts_mm[action.amount])
    if action.kind == ARREST:
        return float(programme.tempo.chance @ programme.arrest.effect_mm[:, action.plates, visit])
    return 0.0


def same_choice(programme: Programme, one: Commitment, two: Commitment) -> bool:
    """Return whether two are of one kind, near in age and near in amount, as the programme's costs say."""
    costs, small = programme.costs, 1e-9
    return (
        one.action.kind == two.action.kind
        and abs(one.age_years - two.age_years) <= costs.near_years + small
        and abs(one.mm - two.mm) <= costs.near_mm + small
    )


def first_operations(solved: Solved) -> First:
    """Return what every first operation costs, by the forecast's own distribution while nothing is done."""
    given, actions = solved.programme, solved.actions
    cost = np.full((given.steps + 1, len(actions)), np.inf)
    chances = np.zeros(len(given.forecasts_mm))
    chances[given.forecast.below] = 1.0
    so_far = 0.0
    today: dict[Action, float] = {}
    for visit in range(given.steps):
        so_far += _mean(given, chances, given.burden(given.difference_mm(visit)[:1], visit)[0])
        for code, costs in solved.first[visit].items():
            if visit == 0:
                today[actions[code]] = so_far + _mean(given, chances, costs)
            if code:
                cost[visit, code] = so_far + _mean(given, chances, costs)
        chances = chances @ solved.kernels.walk(visit)
    left = given.difference_mm(given.steps)[0]
    cost[given.steps, 0] = so_far + _mean(given, chances, given.missed(left))
    return First(given, actions, cost, today)


def _mean(programme: Programme, chances: Floats, costs: Floats) -> float:
    """Return the mean of costs (classes or 1, M) over forecasts and classes."""
    # What is not allowed has no cost; a forecast without chance has no part in the mean.
    by_class = np.where(chances > 0, costs, 0.0) @ chances
    return float(by_class @ programme.tempo.chance if len(by_class) > 1 else by_class[0])
