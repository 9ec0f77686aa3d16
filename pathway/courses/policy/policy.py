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

    The tables are kept in `precision`; the value and all chances are those of the policy found, exactly.
    """
    solved = solve(programme, precision=precision)
    ends = outcome(solved)
    return Policy(solved, ends.cost, path(solved, ends), ends, spreads(solved, ends), first_operations(solved))
