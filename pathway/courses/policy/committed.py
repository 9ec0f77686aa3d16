"""A policy that keeps to one first operation: nothing before its visit, then this, after it as is best."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pathway.courses.policy.first import Commitment, First
from pathway.courses.policy.induction import Solved
from pathway.courses.policy.policy import Policy, policy_of


def committed(policy: Policy, to: Commitment) -> Policy:
    """Return the policy that commits to a first operation; its value is what that commitment costs."""
    return policy_of(_committed(policy.solved, to), policy.first, to.cost)


def _committed(solved: Solved, to: Commitment) -> Solved:
    """Return what is solved with the choices of today's state overwritten: wait until the visit, then act."""
    # Where nothing is done yet, this is the only state; what is done leads to another one.
    key = (solved.programme.start.arrested, 0)
    code = solved.actions.index(to.action)
    choices = list(solved.choices)
    for visit in range(min(to.visit + 1, len(choices))):
        if key in choices[visit]:
            chosen = np.full_like(choices[visit][key], code if visit == to.visit else 0)
            choices[visit] = {**choices[visit], key: chosen}
    return replace(solved, choices=tuple(choices))


def nearest(
    first: First, kind: str, age_years: float, mm: float | None, plates: int | None, within: tuple[float, float]
) -> Commitment | None:
    """Return the allowed first operation that is nearest to one of a kind, age and amount (None: any amount).

    None where none of that kind and those plates lies `within` so many years and mm.
    """
    years, most_mm = within
    small = 1e-9

    def apart(one: Commitment) -> tuple[float, float, float]:
        return abs(one.age_years - age_years), 0.0 if mm is None else abs(one.mm - mm), one.cost

    found = [
        one
        for one in first.commitments()
        if one.action.kind == kind
        and (plates is None or one.action.plates == plates)
        and apart(one)[0] <= years + small
        and apart(one)[1] <= most_mm + small
    ]
    return min(found, key=apart, default=None)
