"""Which risk, slope or weight would bring another first operation: the pure part, whatever solves the programme."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from pathway.courses.policy.first import Commitment, First, same_choice
from pathway.protocol.model import Protocol, Value
from pathway.protocol.preference_sets import WEIGHED
from pathway.risk.step_risks import Level

WEIGHT_UNIT = "operations"
"""How the unit of a value begins that is a price; others give a price its shape."""


@dataclass(frozen=True, slots=True)
class Change:
    """One thing taken otherwise: the `level` of all risks, their `slope`, or the `weight` multiplied by `times`.

    `slope` is the log of the events for ten points more of the bone; None is the pooled counts' own.
    """

    level: Level = "centre"
    slope: float | None = None
    weight: str | None = None
    times: float = 1.0


@dataclass(frozen=True, slots=True)
class Turned:
    """A change that brings another first operation, and what committing to the present one would then cost more.

    `keeping` is None where the present one is not allowed then.
    """

    change: Change
    first: Commitment
    keeping: float | None


def weights(protocol: Protocol) -> tuple[Value, ...]:
    """Return the values of the rules that are prices of a programme."""
    return tuple(v for v in protocol.values if v.id.startswith(WEIGHED) and v.unit.startswith(WEIGHT_UNIT))


def changes(protocol: Protocol) -> Iterator[Change]:
    """Yield all that is tried: low and high risks, no slope and a steep one, each weight lower and higher."""
    number = protocol.number
    yield Change(level="low")
    yield Change(level="high")
    for ratio in ("what_turns_least_ratio", "what_turns_most_ratio"):
        yield Change(slope=math.log(number(ratio)))
    for weight in weights(protocol):
        for times in ("what_turns_least_times", "what_turns_most_times"):
            yield Change(weight=weight.id, times=number(times))


def what_turns(now: First, tried: Iterable[Change], solved: Callable[[Change], First]) -> Iterator[Turned]:
    """Yield the changes under which the best first operation is another choice than now.

    Another choice is one of another kind, or farther in age or amount than what `now` counts as the same.
    """
    best = now.best()
    code = now.actions.index(best.action)
    for change in tried:
        then = solved(change)
        other = then.best()
        if not same_choice(now.programme, best, other):
            kept = float(then.cost[best.visit, code]) if then.actions == now.actions else np.inf
            yield Turned(change, other, kept - other.cost if np.isfinite(kept) else None)
