"""The same programme put to general solvers that nobody here wrote: HiGHS (through scipy) and OR-Tools CP-SAT."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
from ortools.sat.python import cp_model
from scipy.optimize import linprog
from scipy.sparse import csr_array

from pathway.courses.policy.programme import BARRED, OWN, REMOVAL, Programme
from tests.courses.policy.by_hand import ByHand, State

UNIT = 10**7
"""CP-SAT counts costs in whole parts of an operation."""


def by_highs(given: Programme) -> tuple[float, int]:
    """Return the least expected cost by a linear programme over how often each state sees each action, and its states.

    What flows into a state, from today or from states before it, flows out by its actions.
    """
    rules = ByHand(given)
    index: dict[tuple[int, State], int] = {}
    costs: list[float] = []
    rows: list[int] = []
    columns: list[int] = []
    values: list[float] = []
    today: dict[State, float] = defaultdict(float)
    for chance, state in rules.starts():
        today[state] += chance
    layer = set(today)
    flows: dict[int, float] = {}
    for state in layer:
        flows[index.setdefault((0, state), len(index))] = today[state]
    for visit in range(given.steps):
        following: set[State] = set()
        for state in layer:
            for doing in rules.allowed(state, visit):
                column, cost = len(costs), rules.burden(state, visit)
                into: dict[State, float] = defaultdict(float)
                for chance, charge, then in rules.outcomes(state, doing, visit):
                    cost += chance * charge
                    into[then] += chance
                if visit + 1 == given.steps:
                    cost += sum(chance * rules.end(then) for then, chance in into.items())
                else:
                    for then, chance in into.items():
                        rows.append(index.setdefault((visit + 1, then), len(index)))
                        columns.append(column)
                        values.append(-chance)
                    following |= into.keys()
                rows.append(index[visit, state])
                columns.append(column)
                values.append(1.0)
                costs.append(cost)
        layer = following
    flow = csr_array((values, (rows, columns)), shape=(len(index), len(costs)))
    right = np.zeros(len(index))
    right[list(flows)] = list(flows.values())
    found = linprog(costs, A_eq=flow, b_eq=right, bounds=(0, None), method="highs")
    assert found.status == 0, found.message
    return float(found.fun), len(index)


def by_cp_sat(given: Programme) -> float:
    """Return the least cost where nothing is left to chance: whole numbers for forecast, gain, waits and costs.

    Written from the rules: what is gained and taken off adds up, tables give costs and what is allowed.
    """
    assert given.classes == given.joints == given.lengthening.gain_steps.shape[2] == 1
    rules, model = ByHand(given), cp_model.CpModel()
    amounts, sets, last = len(given.lengthening.amounts_mm), len(given.arrest.allowed), given.waits - 1
    size, top = rules.size, given.gains - 1
    start = given.start
    total: list[cp_model.IntVar] = []
    forecast, gained = model.new_constant(given.forecast.below), model.new_constant(0)
    done, waited = model.new_constant(start.done), model.new_constant(start.waited)
    arrested = model.new_constant(int(start.arrested))

    def number(most: int, name: str) -> cp_model.IntVar:
        return model.new_int_var(0, most, name)

    def charged(keys: list[cp_model.IntVar], table: dict[tuple[int, ...], float], name: str) -> None:
        """Add a cost that a table gives; what it does not list is not allowed."""
        whole = {key: round(cost * UNIT) for key, cost in table.items()}
        cost = model.new_int_var(min(whole.values()), max(whole.values()), name)
        model.add_allowed_assignments([*keys, cost], [(*key, value) for key, value in whole.items()])
        total.append(cost)

    def state(m: int, g: int) -> State:
        return State(0, False, False, 0, 0, 0, m, g)

    grid = [(m, g) for m in range(size) for g in range(given.gains)]
    for t in range(given.steps):
        charged([forecast, gained], {(m, g): rules.burden(state(m, g), t) for m, g in grid}, f"burden{t}")
        # Amount and plates are counted from 1; 0 is none of it.
        amount, plates = number(amounts, f"amount{t}"), number(sets, f"plates{t}")
        own = {(0, g): 0.0 for g in range(given.gains)}
        for x, g in ((x, g) for x in range(amounts) for g in range(given.gains)):
            if given.lengthening.allowed[t, x, g, 0]:
                own[x + 1, g] = float(given.lengthening.cost[t, x, g, 0])
        charged([amount, gained], own, f"lengthening{t}")
        model.add_allowed_assignments(
            [amount, done, waited],
            [
                (x, n, w)
                for x in range(amounts + 1)
                for n in range(given.most + 1)
                for w in range(given.waits)
                if x == 0 or (n < given.most and given.lengthening.when[t, n, w])
            ],
        )
        charge = {(x, 0, w): 0.0 for x in range(amounts + 1) for w in range(given.waits)}
        arrest = given.arrest
        for j, w in ((j, w) for j in range(sets) for w in range(given.waits)):
            alone = {OWN: arrest.cost, REMOVAL: arrest.cost_at_removal, BARRED: None}[int(arrest.sitting[w])]
            again = arrest.repeat_chance * arrest.repeat_cost
            if alone is not None and arrest.allowed[j, t]:
                charge[0, j + 1, w] = float(alone[0, j, t]) + again
            if arrest.allowed_at_start[j, t]:
                charge |= {(x + 1, j + 1, w): float(arrest.cost_at_start[0, j, t]) + again for x in range(amounts)}
        charged([amount, plates, waited], charge, f"arrest{t}")
        steps = number(top + 9, f"steps{t}")
        model.add_element(amount, [0, *(int(s) for s in given.lengthening.gain_steps[t, :, 0])], steps)
        falls = [0, *(round(float(mm) / given.grid_mm) for mm in arrest.effect_mm[0, :, t])]
        fall = number(max(falls), f"fall{t}")
        model.add_element(plates, falls, fall)
        lengthened, also = model.new_bool_var(f"lengthened{t}"), model.new_bool_var(f"also{t}")
        model.add(amount >= 1).only_enforce_if(lengthened)
        model.add(amount == 0).only_enforce_if(~lengthened)
        model.add(plates >= 1).only_enforce_if(also)
        model.add(plates == 0).only_enforce_if(~also)
        following = number(top, f"gained{t}"), number(size - 1, f"forecast{t}"), number(last, f"waited{t}")
        model.add_min_equality(following[0], [gained + steps, top])
        model.add_max_equality(following[1], [forecast - fall, 0])
        model.add(following[2] == min(1, last)).only_enforce_if(lengthened)
        longer = number(last, f"longer{t}")
        model.add_min_equality(longer, [waited + 1, last])
        model.add(following[2] == longer).only_enforce_if(~lengthened)
        more, then = number(given.most, f"done{t}"), number(1, f"arrested{t}")
        model.add(more == done + lengthened)
        model.add(then == arrested + also)
        gained, forecast, waited, done, arrested = *following, more, then
        late = {(0, m, g): 0.0 for m, g in grid}
        for j, (m, g) in ((j, at) for j in range(sets) for at in grid):
            late[j + 1, m, g] = _late(rules, j, t, state(m, g))
        charged([plates, forecast, gained], late, f"late{t}")
    charged([forecast, gained], {(m, g): rules.end(state(m, g)) for m, g in grid}, "end")
    model.minimize(sum(total))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    assert solver.solve(model) == cp_model.OPTIMAL
    return solver.objective_value / UNIT


def _late(rules: ByHand, plates: int, visit: int, state: State) -> float:
    """Return what the slowness of a certain arrest is charged, from the differences that are really there."""
    given, total = rules.given, 0.0
    effect = given.arrest.effect_mm[0, plates]
    for later in range(visit, given.steps):
        as_counted = rules.difference(state, 0, later)
        credited = effect[visit] * given.tempo.reached[0, later]
        taken_off = effect[visit] - effect[later]
        really = as_counted + max(credited - taken_off, 0)
        total += rules.burden_of(float(really), 0, later) - rules.burden_of(as_counted, 0, later)
    return total
