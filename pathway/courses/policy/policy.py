"""One programme's best policy with all that is told of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pathway.courses.policy.first import First, first_operations
from pathway.courses.policy.induction import Solved, solve
from pathway.courses.policy.outcome import Outcome, outcome
from pathway.courses.policy.path import Spread, Step, path, spreads
from pathway.courses.policy.programme import Programme


@dataclass(frozen=True, slots=True, eq=False)
class Policy:
    """The best policy: `value` its expected cost from today on, and what follows from it.

    An arrest takes off more or less than can be known before it. A policy is chosen as if the visits until then told
    how a child grows, since its plan is made again at each of them; what comes of it is told with the whole spread.

    `path` is what is done if every step works; `outcome` what usually happens; `spreads` when and how much;
    `first` what each first operation costs, its gap to the next best choice and the value of waiting.
    """

    solved: Solved
    value: float
    path: tuple[Step, ...]
    outcome: Outcome
    spreads: tuple[Spread, ...]
    first: First


def best_policy(programme: Programme, *, precision: type[np.floating[Any]] = np.float32) -> Policy:
    """Return the best policy of a programme.

    The tables, and so the value, are kept in `precision`; all chances are those of the policy found, exactly.
    """
    solved = solve(programme, precision=precision)
    return policy_of(solved, first_operations(solved), solved.value)


def policy_of(solved: Solved, first: First, value: float) -> Policy:
    """Return a policy of that expected cost with all that is told of it."""
    told = outcome(solved, told=True)
    return Policy(solved, value, path(solved, told), told, spreads(solved, told), first)
