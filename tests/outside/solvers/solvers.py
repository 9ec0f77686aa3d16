"""The same problem put to general solvers that nobody here wrote: OR-Tools CP-SAT and HiGHS (through scipy)."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from ortools.sat.python import cp_model
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from pathway.courses.grid_search import Ints, Problem


def by_cp_sat(problem: Problem, numbers: tuple[int, int], score: Ints) -> int | None:
    """Return the least cost + score by CP-SAT, or None where it proves that there is no way.

    Written from the rules, not from our search: integer ages and amounts, tables for what they cost, and the
    difference by column from what was gained until then.
    """
    model = cp_model.CpModel()
    columns = problem.first.limit.shape[0]
    cost: list[cp_model.LinearExprT] = []
    ages: list[list[cp_model.IntVar]] = [[], []]
    amounts: list[list[cp_model.IntVar]] = [[], []]
    totals = []
    for at, chain in enumerate(problem.chains):
        gained: cp_model.LinearExprT = 0
        largest = len(chain.wait) - 1
        for number in range(numbers[at]):
            age = model.new_int_var(0, columns - 1, f"age{at}_{number}")
            amount = model.new_int_var(chain.least, largest, f"amount{at}_{number}")
            before = model.new_int_var(0, chain.gains - 1, f"before{at}_{number}")
            own = model.new_int_var(0, 10**6, f"own{at}_{number}")
            model.add(before == gained)
            rows = [
                (j, g, u, int(chain.age_points[number, j] + chain.amount_points[u] + chain.warn_points[j, g, u]))
                for j in range(columns)
                for g in range(chain.gains)
                for u in range(chain.least, min(int(chain.most[number, j]), int(chain.limit[j, g])) + 1)
                if g + u < chain.gains
            ]
            if not rows:
                return None
            model.add_allowed_assignments([age, before, amount, own], rows)
            ages[at].append(age)
            amounts[at].append(amount)
            cost.append(own)
            gained = gained + amount
        total = model.new_int_var(0, chain.gains - 1, f"total{at}")
        model.add(total == gained)
        totals.append(total)
        for one, two in pairwise(range(numbers[at])):
            _apart(model, ages[at][one], ages[at][two], amounts[at][one], chain.wait)
    _bones_apart(model, problem, ages, amounts)
    cost.extend(_over(model, problem, ages, amounts))
    final = model.new_int_var(0, int(score.max()), "final")
    rows = [(a, b, int(score[a, b])) for a in range(score.shape[0]) for b in range(score.shape[1])]
    model.add_allowed_assignments([*totals, final], rows)
    model.minimize(sum(cost) + final)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    status = solver.solve(model)
    if status == cp_model.INFEASIBLE:
        return None
    assert status == cp_model.OPTIMAL, solver.status_name(status)
    return round(solver.objective_value)


def _apart(
    model: cp_model.CpModel, earlier: cp_model.IntVar, later: cp_model.IntVar, amount: cp_model.IntVar, wait: Ints
) -> cp_model.IntVar:
    needed = model.new_int_var(0, int(max(wait)), "")
    model.add_element(amount, [int(w) for w in wait], needed)
    model.add(later - earlier >= needed)
    return needed


def _bones_apart(
    model: cp_model.CpModel,
    problem: Problem,
    ages: list[list[cp_model.IntVar]],
    amounts: list[list[cp_model.IntVar]],
) -> None:
    for i, one in enumerate(ages[0]):
        for k, two in enumerate(ages[1]):
            first = model.new_bool_var("")
            pairs = ((one, two, amounts[0][i], problem.first, first), (two, one, amounts[1][k], problem.second, ~first))
            for earlier, later, amount, chain, when in pairs:
                needed = model.new_int_var(0, int(max(chain.wait_other)), "")
                model.add_element(amount, [int(w) for w in chain.wait_other], needed)
                model.add(later - earlier >= needed).only_enforce_if(when)


def _over(
    model: cp_model.CpModel,
    problem: Problem,
    ages: list[list[cp_model.IntVar]],
    amounts: list[list[cp_model.IntVar]],
) -> list[cp_model.IntVar]:
    """Return the points of each column at the total that was gained by then."""
    points = []
    month = np.diff(problem.over, axis=0)
    for column in range(len(month)):
        parts = []
        for age, amount in zip([*ages[0], *ages[1]], [*amounts[0], *amounts[1]], strict=True):
            done = model.new_bool_var("")
            model.add(age <= column).only_enforce_if(done)
            model.add(age > column).only_enforce_if(~done)
            part = model.new_int_var(0, month.shape[1], "")
            model.add(part == amount).only_enforce_if(done)
            model.add(part == 0).only_enforce_if(~done)
            parts.append(part)
        so_far = model.new_int_var(0, month.shape[1] - 1, "")
        model.add(so_far == sum(parts))
        here = model.new_int_var(0, int(month[column].max()), "")
        model.add_element(so_far, [int(p) for p in month[column]], here)
        points.append(here)
    return points


def by_highs(problem: Problem, number: int, score: Ints) -> int | None:
    """Return the least cost + score of one bone by HiGHS, or None where there is no way.

    A flow of one unit through (number done, column, gained): wait a column, or lengthen and land where the
    waiting time is over; the solver sees only arcs and costs.
    """
    chain, columns = problem.first, problem.first.limit.shape[0]
    month = np.diff(problem.over, axis=0)
    nodes = {
        node: at
        for at, node in enumerate(
            (k, j, g) for k in range(number + 1) for j in range(columns + 1) for g in range(chain.gains)
        )
    }
    arcs: list[tuple[int, int, int]] = []
    ends: list[tuple[int, int]] = []
    for (k, j, g), at in nodes.items():
        if j < columns:
            arcs.append((at, nodes[k, j + 1, g], int(month[j, g])))
        if k == number and j == columns:
            ends.append((at, int(score[g, 0])))
        if k < number and j < columns:
            for u in range(chain.least, min(int(chain.most[k, j]), int(chain.limit[j, g]), chain.gains - 1 - g) + 1):
                # Landing beyond the last column is an end, not a next lengthening.
                to = min(j + int(chain.wait[u]), columns)
                own = int(chain.age_points[k, j] + chain.amount_points[u] + chain.warn_points[j, g, u])
                waited = int(month[j:to, g + u].sum())
                arcs.append((at, nodes[k + 1, to, g + u], own + waited))
    sink = len(nodes)
    arcs += [(at, sink, cost) for at, cost in ends]
    tail, head, cost = (np.array(part) for part in zip(*arcs, strict=True))
    every = np.arange(len(arcs))
    flow = csr_array(
        (
            np.concatenate((np.ones(len(arcs)), -np.ones(len(arcs)))),
            (np.concatenate((tail, head)), np.concatenate((every, every))),
        ),
        shape=(sink + 1, len(arcs)),
    )
    supply = np.zeros(sink + 1)
    supply[nodes[0, 0, 0]], supply[sink] = 1, -1
    scale = 1e-3
    answer = milp(
        cost * scale,
        constraints=LinearConstraint(flow, supply, supply),
        bounds=Bounds(0, 1),
        integrality=np.ones(len(arcs)),
        options={"mip_rel_gap": 0.0},
    )
    if answer.x is None:
        return None
    return int(cost[np.flatnonzero(answer.x > 0.5)].sum())
