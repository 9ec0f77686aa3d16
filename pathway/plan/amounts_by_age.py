"""Why this age and this amount: what the ages and amounts next to the best lengthening cost more."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from pathway.courses.policy.actions import ARREST, Action
from pathway.courses.policy.first import First
from pathway.plan.programme import AgeRow, AmountsByAge

Costs = npt.NDArray[np.floating[Any]]
AGES, AMOUNTS = 9, 7
"""Rows and columns at most: what is read at a glance and stands in a narrow terminal."""


def amounts_by_age(first: First) -> AmountsByAge | None:
    """Return what first lengthenings around the cheapest cost above the best first operation, in planned operations.

    A lengthening counts with or without a growth arrest in its sitting, as is cheaper. None where none is allowed.
    """
    costs = first.cost[:-1] - first.best().cost
    amounts = first.programme.lengthenings[0].amounts_mm
    table = np.stack([_least(costs, first.actions, amount=at) for at in range(len(amounts))], axis=1)
    if not np.isfinite(table).any():
        return None
    arrests = _least(costs, first.actions, amount=None)
    visit, amount = (int(at) for at in np.unravel_index(np.argmin(table), table.shape))
    rows, columns = window(table.shape[0], visit, AGES), window(table.shape[1], amount, AMOUNTS)
    return AmountsByAge(
        amounts_mm=tuple(round(float(amounts[at]), 0) for at in columns),
        rows=tuple(
            AgeRow(
                age_years=round(float(first.programme.age_years[at]), 2),
                costs_more=tuple(_told(table[at, column]) for column in columns),
                growth_arrest=_told(arrests[at]),
            )
            for at in rows
        ),
    )


def window(length: int, centre: int, most: int) -> range:
    """Return at most so many places out of `length`, `centre` in their middle where there is room."""
    size = min(length, most)
    start = min(max(centre - size // 2, 0), length - size)
    return range(start, start + size)


def _least(costs: Costs, actions: Sequence[Action], amount: int | None) -> Costs:
    """Return by visit the cheapest action with this amount, or the cheapest growth arrest alone for None."""
    at = [
        code
        for code, action in enumerate(actions)
        if (action.kind == ARREST if amount is None else action.amount == amount)
    ]
    least: Costs = costs[:, at].min(axis=1, initial=np.inf)
    return least


def _told(cost: float) -> float | None:
    return round(float(cost), 2) if np.isfinite(cost) else None
