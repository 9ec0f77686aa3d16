"""A child's programme as a linear programme for HiGHS, all forecasts of a state at once: for many thousands of states.

Written from the rules, apart from the induction: what may be done and the burden are those of `by_hand`; the only
thing shared is how the forecast moves on its grid. States are found and then treated; both are rows of flow, what is
done and the move of the forecast that follows are columns.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from functools import cache
from typing import NamedTuple

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_array, csr_array

from pathway.courses.policy.kernels import moves
from pathway.courses.policy.programme import REMOVAL, Floats, Programme
from tests.courses.policy.by_hand import ByHand, Doing, State


class Leads(NamedTuple):
    """Where an action leads with a chance: costs (M,) by the forecast before it, chances (M, M) of the one after."""

    chance: float
    cost: Floats
    then: State
    forecasts: coo_array


def by_highs_wide(given: Programme) -> tuple[float, int]:
    """Return the least expected cost and the number of states that visits can find, the forecast counted."""
    return _Wide(given).least()


class _Wide:
    def __init__(self, given: Programme) -> None:
        self.given, self.rules = given, ByHand(given)
        self.size = self.rules.size
        self.stay = self._moved(0.0, 0.0)
        self.blocks: dict[tuple[int, State, bool], int] = {}
        self.costs: list[Floats] = []
        self.rows: list[np.ndarray] = []
        self.columns: list[np.ndarray] = []
        self.values: list[Floats] = []

        @cache
        def burden(tempo: int | None, gained: int, visit: int) -> Floats:
            states = self._every(State(tempo, False, False, 0, 0, 0, 0, gained))
            return np.array([self.rules.burden(state, visit) for state in states])

        @cache
        def end(tempo: int | None, gained: int) -> Floats:
            return np.array(
                [self.rules.end(one) for one in self._every(State(tempo, False, False, 0, 0, 0, 0, gained))]
            )

        self.burden, self.end = burden, end
        self.late = cache(self._late)

    def least(self) -> tuple[float, int]:
        layer, states = {state._replace(forecast=0) for _, state in self.rules.starts()}, 0
        for visit in range(self.given.steps):
            treated: set[State] = set()
            states += len(layer) * self.size
            for state in layer:
                treated |= self._treat(state, visit)
            layer = set()
            walk = self._moved(0.0, float(self.given.forecast.step_variance_mm2[visit]))
            for state in treated:
                layer |= self._walk(state, visit, walk)
        right = np.zeros(len(self.blocks) * self.size)
        for chance, state in self.rules.starts():
            right[self._block(0, state._replace(forecast=0), True) + state.forecast] += chance
        entries = np.concatenate(self.values), (np.concatenate(self.rows), np.concatenate(self.columns))
        cost = np.concatenate(self.costs)
        flow = csr_array(coo_array(entries, shape=(len(right), len(cost))))
        found = linprog(cost, A_eq=flow, b_eq=right, bounds=(0, None), method="highs")
        assert found.status == 0, found.message
        return float(found.fun), states

    def _treat(self, state: State, visit: int) -> set[State]:
        """Add all that may be done in a state, whatever the forecast; return what it leads to."""
        out: set[State] = set()
        for doing in self.rules.allowed(state, visit):
            cost, into = self.burden(state.tempo, state.gained, visit).copy(), list[tuple[int, coo_array]]()
            for leads in self._leads(state, doing, visit):
                cost += leads.chance * leads.cost
                into.append((self._block(visit, leads.then, False), leads.chance * leads.forecasts))
                out.add(leads.then)
            self._add(self._block(visit, state, True), cost, into)
        return out

    def _walk(self, state: State, visit: int, walk: coo_array) -> set[State]:
        """Add the move of the forecast to the next visit, where the class may be told."""
        told = list(self.rules.told(state, visit + 1))
        if visit + 1 == self.given.steps:
            cost = sum((chance * (walk @ self.end(one.tempo, one.gained)) for chance, one in told), np.zeros(self.size))
            self._add(self._block(visit, state, False), cost, [])
            return set()
        into = [(self._block(visit + 1, one, True), chance * walk) for chance, one in told]
        self._add(self._block(visit, state, False), np.zeros(self.size), into)
        return {one for _, one in told}

    def _leads(self, state: State, doing: Doing, visit: int) -> Iterator[Leads]:
        for chance, cost, then, rise_mm in self._lengthened(state, doing.amount, visit):
            rise = self._moved(rise_mm, 0.0) if rise_mm else self.stay
            if doing.plates is None:
                yield Leads(chance, np.full(self.size, cost), then, rise)
                continue
            arrest = self.given.arrest
            removal = arrest.sitting[visit, state.waited] == REMOVAL
            charges = arrest.cost_at_start if doing.amount is not None else arrest.cost
            charges = arrest.cost_at_removal if doing.amount is None and removal else charges
            for share, tempo in self.rules.classes(then):
                effect = float(arrest.effect_mm[tempo, doing.plates, visit])
                fall = coo_array(rise @ self._moved(-effect, (arrest.sd_share * effect) ** 2))
                charge = cost + float(charges[tempo, doing.plates, visit]) + arrest.repeat_chance * arrest.repeat_cost
                late = fall @ self.late(tempo, doing.plates, then.gained, visit)
                yield Leads(chance * share, charge + late, then._replace(tempo=tempo, arrested=True), fall)

    def _lengthened(self, state: State, amount: int | None, visit: int) -> Iterator[tuple[float, float, State, float]]:
        """Yield chance, cost, the state after, and what the forecast rises by."""
        last = self.given.waits - 1
        if amount is None:
            yield 1.0, 0.0, state._replace(waited=min(state.waited + 1, last)), 0.0
            return
        table = self.given.lengthenings[self.given.bone_of[state.done]]
        gained, joint = state.gained, state.joint
        goes = dict[State, float]()
        for o, s in itertools.product(range(table.gain_steps.shape[2]), range(self.given.joints)):
            to = min(gained + int(table.gain_steps[visit, amount, o]), self.given.gains - 1)
            then = state._replace(gained=to, joint=s, done=state.done + 1, waited=min(1, last))
            chance = float(table.gain_chance[visit, amount, o, gained] * table.joints[visit, amount, gained, joint, s])
            goes[then] = goes.get(then, 0.0) + chance
        stop, loss = float(table.stop_chance[visit, amount, gained]), float(table.loss_chance[visit, amount])
        cost = float(table.cost[visit, amount, gained, joint])
        for (then, chance), stopped, lost in itertools.product(goes.items(), (False, True), (False, True)):
            whole = chance * (stop if stopped else 1 - stop) * (loss if lost else 1 - loss)
            if whole > 0:
                rise = float(table.loss_mm[visit, amount]) if lost else 0.0
                yield whole, cost, then._replace(stopped=stopped), rise

    def _late(self, tempo: int, plates: int, gained: int, visit: int) -> Floats:
        """Return what an arrest's slowness is charged (M,), by the forecast after it."""
        effect, reached = self.given.arrest.effect_mm[tempo, plates], self.given.tempo.reached[tempo]
        out = np.zeros(self.size)
        for later in range(visit, self.given.steps):
            wait = max(float(effect[visit] * reached[later] - (effect[visit] - effect[later])), 0.0)
            for at, state in enumerate(self._every(State(tempo, True, False, 0, 0, 0, 0, gained))):
                now = self.rules.difference(state, tempo, later)
                out[at] += self.rules.burden_of(now + wait, tempo, later) - self.rules.burden_of(now, tempo, later)
        return out

    def _moved(self, mean_mm: float, variance_mm2: float) -> coo_array:
        """Return the chances (M, M) from each forecast to each."""
        steps, chances = moves(mean_mm / self.given.grid_mm, variance_mm2 / self.given.grid_mm**2)
        start = np.repeat(np.arange(self.size), len(steps))
        to = np.clip(start + np.tile(steps, self.size), 0, self.size - 1)
        return coo_array((np.tile(chances, self.size), (start, to)), shape=(self.size, self.size))

    def _every(self, state: State) -> Iterator[State]:
        return (state._replace(forecast=m) for m in range(self.size))

    def _block(self, visit: int, state: State, found: bool) -> int:
        """Return the first row of a state as a visit has `found` it, or as it has been treated there."""
        return self.blocks.setdefault((visit, state, found), len(self.blocks)) * self.size

    def _add(self, out: int, cost: Floats, into: list[tuple[int, coo_array]]) -> None:
        """Add a column for every forecast: out of its row, into others."""
        start, every = len(self.costs) * self.size, np.arange(self.size)
        self.costs.append(cost)
        self.rows.append(out + every)
        self.columns.append(start + every)
        self.values.append(np.ones(self.size))
        for row, chances in into:
            self.rows.append(row + chances.col)
            self.columns.append(start + chances.row)
            self.values.append(-chances.data)
