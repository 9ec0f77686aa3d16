"""How operations and months with a device spread over the lives of a policy, beside their exact means.

Planned operations are counted one by one. Of the expected unplanned ones, and of the months with a device, the mean and
the mean of the square are pushed forward with the gain that a life has: exact in the mean, and in the spread but for
what forecast, joints and tempo would tell beyond the gain. Around their expected number, unplanned operations spread as
events do that know nothing of each other (Poisson).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from pathway.courses.policy.programme import Floats

Sums = Floats
"""By gain (4, gains): expected unplanned operations, their square, months with a device, their square, by chance."""
_NODES = ((-(3**0.5), 1 / 6), (0.0, 2 / 3), (3**0.5, 1 / 6))
_LEAST = 1e-12
_FAR = 10
"""So many SDs beyond the largest mean the events are counted."""


@dataclass(frozen=True, slots=True)
class Spread:
    """The mean of a count, and the values that 5 and 95 of 100 lives do not exceed."""

    mean: float
    p05: float
    p95: float


@dataclass(frozen=True, slots=True, eq=False)
class Counts:
    """Operations, the unplanned ones of them, and months with a device, from today on."""

    operations: Spread
    unplanned: Spread
    device_months: Spread


@dataclass(frozen=True, slots=True)
class Harm:
    """Lengthenings with an outcome in 100 children: for a typical team, and the low and high end for a new one."""

    id: str
    of_100: float
    low: float
    high: float


def with_more(sums: Sums, chance: Floats, *, operations: tuple[Floats, Floats], months: Floats | float = 0.0) -> Sums:
    """Return sums after something that brings unplanned operations (mean, mean square) and months, all by gain."""
    first, square = operations
    return np.stack(
        (
            sums[0] + first * chance,
            sums[1] + 2 * first * sums[0] + square * chance,
            sums[2] + months * chance,
            sums[3] + 2 * months * sums[2] + np.square(months) * chance,
        )
    )


def shared(sums: Sums, before: Floats, part: Floats) -> Sums:
    """Return what of the sums belongs to part of the chances, of which there were `before` by gain."""
    share = part.sum(axis=(1, 2, 3)) / np.where(before > 0, before, 1.0)
    mine: Sums = sums * share
    return mine


def moved_on(sums: Sums, moves: Iterable[tuple[int, Floats]], gains: int) -> Sums:
    """Return sums with each gain moved so many steps with a chance by gain; beyond the last gain it stays there."""
    to = np.zeros((len(sums), gains))
    for steps, chance in moves:
        if chance.any():
            moved, inside = sums * chance, max(min(sums.shape[1], gains - steps), 0)
            to[:, steps : steps + inside] += moved[:, :inside]
            to[:, -1] += moved[:, inside:].sum(axis=1)
    return to


def counts_of(ends: Sequence[tuple[int, Floats, Sums]]) -> Counts:
    """Return how all spreads at the end: planned operations, chances (gains, ...) and sums of each kind of life."""
    chance = np.concatenate([chances.sum(axis=(1, 2, 3)) for _, chances, _ in ends])
    planned = np.concatenate([np.full(len(chances), number) for number, chances, _ in ends])
    sums = np.concatenate([part for *_, part in ends], axis=1)
    some = chance > _LEAST
    chance, planned, sums = chance[some], planned[some], sums[:, some]
    mean, square, months, months_square = sums / chance
    unplanned = _events(mean, np.maximum(square - mean**2, 0.0))
    operations = np.zeros(int(planned.max(initial=0)) + unplanned.shape[1])
    for number in sorted(set(planned.tolist())):
        mine = planned == number
        operations[number : number + unplanned.shape[1]] += chance[mine] @ unplanned[mine]
    spread = np.sqrt(np.maximum(months_square - months**2, 0.0))
    values = np.concatenate([np.maximum(months + at * spread, 0.0) for at, _ in _NODES])
    weights = np.concatenate([chance * weight for _, weight in _NODES])
    order = np.argsort(values, kind="stable")
    return Counts(
        _spread(float(chance @ (planned + mean)), np.arange(float(len(operations))), operations),
        _spread(float(chance @ mean), np.arange(float(unplanned.shape[1])), chance @ unplanned),
        _spread(float(chance @ months), values[order], weights[order]),
    )


def _events(mean: Floats, variance: Floats) -> Floats:
    """Return the chances (lives, numbers) of so many events about an expected number that itself varies by life.

    As if that number had a gamma distribution of its mean and variance.
    """
    sd = np.sqrt(mean + variance)
    most = int(np.ceil(float((mean + _FAR * sd).max(initial=0.0)))) + 2
    mean = np.maximum(mean, _LEAST)
    shape = np.minimum(mean**2 / np.maximum(variance, _LEAST), 1e8)
    ratio = mean / (shape + mean)
    chances = np.zeros((len(mean), most))
    chances[:, 0] = np.exp(shape * np.log1p(-ratio))
    for number in range(1, most):
        chances[:, number] = chances[:, number - 1] * (shape + number - 1) / number * ratio
    return chances


def _spread(mean: float, values: Floats, chances: Floats) -> Spread:
    """Return the mean with both ends, which hold it between them: a mean beyond an end is that end."""
    gathered = np.cumsum(chances) / max(float(chances.sum()), _LEAST)
    low, high = (float(values[min(int(np.searchsorted(gathered, at)), len(values) - 1)]) for at in (0.05, 0.95))
    return Spread(mean, min(low, mean), max(high, mean))
