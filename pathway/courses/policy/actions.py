"""What can be done at a visit, and the running choice of the cheapest of it in many states at once."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from pathway.courses.policy.programme import Floats, Programme

WAIT = "wait"
LENGTHEN = "lengthen"
ARREST = "arrest"
BOTH = "both"

Codes = npt.NDArray[np.unsignedinteger[Any]]
"""Actions by their place in `actions_of`, in the smallest whole numbers that hold them."""


class Action(NamedTuple):
    """What is done at a visit: WAIT, LENGTHEN by an amount, ARREST a set of plates, or BOTH in one sitting.

    `amount` and `plates` are indices of the programme's, -1 where there is none.
    """

    kind: str
    amount: int = -1
    plates: int = -1


def actions_of(programme: Programme) -> tuple[Action, ...]:
    """Return every action, waiting first; stored policies hold indices of this."""
    amounts, sets = range(len(programme.amounts_mm)), range(len(programme.arrest.allowed))
    return (
        Action(WAIT),
        *(Action(LENGTHEN, amount) for amount in amounts),
        *(Action(ARREST, -1, plates) for plates in sets),
        *(Action(BOTH, amount, plates) for plates in sets for amount in amounts),
    )


def no_codes(shape: tuple[int, ...], actions: int) -> Codes:
    """Return codes of waiting (0) everywhere, wide enough for so many actions."""
    codes: Codes = np.zeros(shape, np.min_scalar_type(max(actions - 1, 0)))
    return codes


class Best:
    """The least cost of many states and the action that has it; the first of equals stays.

    `seen` gathers what each action costs, where it is asked for.
    """

    def __init__(self, cost: Floats, codes: Codes, seen: dict[int, Floats] | None = None) -> None:
        self.cost = cost
        self.codes = codes
        self.seen = seen

    def take(self, cost: Floats, code: int) -> None:
        """Try one action in every state; a cost of infinity is not allowed."""
        if self.seen is not None:
            self.seen[code] = cost.copy()
        better = cost < self.cost
        np.copyto(self.cost, cost, where=better)
        np.copyto(self.codes, self.codes.dtype.type(code), where=better)

    def join(self, other: Best) -> None:
        """Try in every state the best of another choice."""
        if self.seen is not None and other.seen is not None:
            self.seen |= other.seen
        better = other.cost < self.cost
        np.copyto(self.cost, other.cost, where=better)
        np.copyto(self.codes, other.codes, where=better)
