"""The chance of one course when every amount is decided again from what will have been measured by then.

At each lengthening the amount that then looks best is taken, within the limits of that age, a lengthening is
left out where none is needed, and one more is done where that is still allowed and wanted. The choice is an exact
dynamic programme over (slot, units gained, need left); all draws go through it at once. No medicine: ages, limits
and points come as plain values.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.floating[Any]]
Ints = npt.NDArray[np.int64]

_CELLS_A_STEP = 2
# The middle half of a normal distribution, in standard deviations.
_MIDDLE_HALF_SDS = 2 * NormalDist().inv_cdf(0.75)
# Goal, then operations, then nearness, then points: each weight lies above all that the next can add up to.
_GOAL, _OPERATION, _NEARNESS, _MOST_POINTS = 1e8, 1e6, 1e3, 9e2
# Among equals the plan stands.
_CHANGE = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Slot:
    """One operation to come whose amount is decided later, in units of the planning step.

    `planned` units as planned (0: a spare one, only done where it is needed); `least` the smallest amount;
    `most` (g,) the largest by units gained before, below `least` where none is possible (beyond its end the last
    counts); `points` (g, a) what an amount of a units (0: left out) costs by units gained before; `operations` how
    many operations it takes; `from_need_mm` the least need (mm) for which it may be done at all. `lengthens` is
    False for a growth arrest, which adds nothing to the short bone: its amount is the effect it is meant to have
    and `response` (m,) what a draw makes of one mm of it.
    """

    planned: int
    least: int
    most: Ints
    points: Floats
    operations: int
    lengthens: bool = True
    from_need_mm: float = -np.inf
    response: Floats | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Task:
    """What is to be made up, and by what measure.

    `net_mm` (m,) is the true difference at maturity that the slots' planned amounts are to make up: what the course
    leaves plus those amounts, a planned growth arrest having had its effect; `gain_error_mm` (m, n) what each
    slot gains beside its amount, of which that of the planned slots is in `net_mm`; `estimate_mm` (m, n) what the
    projection says of `net_mm` when each slot is decided. `excess` tells how far an absolute remaining
    difference (mm) misses the goal. `fixed_lengthenings` and `fixed_operations` are those of the course that no
    slot stands for.
    """

    step_mm: float
    net_mm: Floats
    gain_error_mm: Floats
    estimate_mm: Floats
    excess: Callable[[Floats], Floats]
    fixed_lengthenings: int = 0
    fixed_operations: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Chance:
    """How a course ends in each draw (m,) when its amounts are decided again on the way.

    `residual_mm` is long less short leg at maturity, `amounts_mm` (m, n) what each slot came to, `lengthenings` and
    `operations` how many were needed, `height_lost_mm` the growth that closed plates would have made,
    `at_limit` whether an amount stood at its limit.
    """

    residual_mm: Floats
    amounts_mm: Floats
    lengthenings: Ints
    operations: Ints
    height_lost_mm: Floats
    at_limit: npt.NDArray[np.bool_]

    def within(self, mm: float) -> float:
        """Return the share of draws (0 to 1) that end within so many mm of equal legs."""
        return float(np.mean(np.abs(self.residual_mm) <= mm))

    @property
    def numbers(self) -> dict[int, float]:
        """Return how likely (0 to 1) each number of lengthenings is."""
        return _shares(self.lengthenings)

    @property
    def operation_numbers(self) -> dict[int, float]:
        """Return how likely (0 to 1) each number of operations is."""
        return _shares(self.operations)

    @property
    def limit_share(self) -> float:
        """Return the share of draws (0 to 1) in which an amount stood at its limit."""
        return float(np.mean(self.at_limit))

    def height_lost(self, q: Sequence[float]) -> Floats:
        """Return quantiles (`q` from 0 to 1) of the adult height lost to growth arrest, mm."""
        return np.asarray(np.quantile(self.height_lost_mm, list(q)))


def chance(slots: Sequence[Slot], task: Task) -> Chance:
    """Return how a course ends when each slot (in order of age) is decided from its own estimate.

    Amounts of another bone count as planned: they are in `net_mm`. An amount of growth arrest stands for the age at
    which closing the plates has that effect. Raises ValueError where estimates or gains do not fit the slots.
    """
    draws, step = len(task.net_mm), task.step_mm
    for name, values in (("estimates", task.estimate_mm), ("gain errors", task.gain_error_mm)):
        if values.shape != (draws, len(slots)):
            raise ValueError(f"{name} must be {draws} x {len(slots)}, found {values.shape}")
    aside = sum(slot.planned * step for slot in slots if not slot.lengthens)
    policy = _policy(slots, task, aside)
    gained, used = np.zeros(draws, dtype=np.int64), np.zeros(draws, dtype=np.int64)
    residual: Floats = np.array(task.net_mm, float)
    lost: Floats = np.zeros(draws)
    amounts = np.zeros((draws, len(slots)), dtype=np.int64)
    limited = np.zeros(draws, dtype=bool)
    operations = np.full(draws, task.fixed_operations, dtype=np.int64)
    for k, slot in enumerate(slots):
        need = task.estimate_mm[:, k] + aside - used * step
        units = policy.units(k, gained, need)
        limited |= (units > 0) & (units == slot.most[np.minimum(gained, len(slot.most) - 1)])
        amounts[:, k] = units
        used += units
        operations += np.where(units > 0, slot.operations, 0)
        if slot.lengthens:
            gained += units
            residual -= units * step
            residual -= task.gain_error_mm[:, k] * ((units > 0).astype(float) - float(slot.planned > 0))
        else:
            response = 1.0 if slot.response is None else slot.response
            lost = units * step * response
            residual += (slot.planned - units) * step * response
    lengthen = np.array([slot.lengthens for slot in slots], dtype=bool)
    number = np.count_nonzero(amounts[:, lengthen], axis=1) + task.fixed_lengthenings
    return Chance(residual, amounts * step, number.astype(np.int64), operations, np.asarray(lost), limited)


@dataclass(frozen=True, slots=True)
class Narrowing:
    """What planning again leaves of remaining differences, beyond deciding the amounts again.

    `share` of each is left, less where their spread (one SD, from the middle half) exceeds `most_sd_mm`; of what then
    lies beyond `beyond_mm` of equal legs `tail_share` is left.
    """

    share: float
    most_sd_mm: float
    beyond_mm: float
    tail_share: float

    def of(self, residual_mm: Floats) -> Floats:
        """Return the remaining differences (m,) of a course that is meant to end near equal legs, narrowed."""
        low, high = np.quantile(residual_mm, [0.25, 0.75])
        spread = max(float(high - low) / _MIDDLE_HALF_SDS, self.most_sd_mm)
        nearer = self.share * self.most_sd_mm / spread * residual_mm
        over = np.maximum(np.abs(nearer) - self.beyond_mm, 0.0)
        return np.asarray(nearer - np.sign(nearer) * (1 - self.tail_share) * over)

    def about_median(self, residual_mm: Floats) -> Floats:
        """Return the remaining differences (m,) of a course that is not meant to: only nearer to their median."""
        middle = float(np.median(residual_mm))
        return np.asarray(middle + self.share * (residual_mm - middle))


@dataclass(frozen=True, slots=True, eq=False)
class _Policy:
    """The best amount by slot, units gained and need left; needs stand in cells of a part of the step."""

    tables: tuple[Ints, ...]
    lowest_mm: float
    cell_mm: float

    def units(self, slot: int, gained: Ints, need_mm: Floats) -> Ints:
        table = self.tables[slot]
        cell = np.rint((need_mm - self.lowest_mm) / self.cell_mm).astype(np.int64)
        found: Ints = table[gained, np.clip(cell, 0, table.shape[1] - 1)]
        return found


def _policy(slots: Sequence[Slot], task: Task, aside_mm: float) -> _Policy:
    step, cell = task.step_mm, task.step_mm / _CELLS_A_STEP
    largest = max((int(slot.most.max(initial=0)) for slot in slots), default=0)
    highest = float(np.max(task.estimate_mm, initial=0.0)) + aside_mm
    lowest = -cell * np.ceil((step * largest - min(float(np.min(task.estimate_mm, initial=0.0)), 0.0)) / cell)
    needs = lowest + cell * np.arange(int((highest - lowest) / cell) + 2)
    left = np.abs(needs)
    nearness = np.minimum(np.round(left / step), _OPERATION / _NEARNESS - 1)
    end = _GOAL * task.excess(left) + _NEARNESS * nearness
    totals = 1 + sum(max(int(slot.most.max(initial=0)), 0) for slot in slots if slot.lengthens)
    value = np.repeat(end[None, :], totals, axis=0)
    tables = []
    for slot in reversed(slots):
        value, table = _one_slot(slot, value, needs)
        tables.append(table)
    return _Policy(tuple(reversed(tables)), float(lowest), cell)


def _one_slot(slot: Slot, later: Floats, needs_mm: Floats) -> tuple[Floats, Ints]:
    """Return the value (g, r) before a slot and its best amount from the value after it."""
    totals, needs = later.shape
    rows = np.minimum(np.arange(totals), len(slot.most) - 1)
    most = slot.most[rows]
    priced = np.minimum(slot.points[np.minimum(np.arange(totals), len(slot.points) - 1)], _MOST_POINTS)
    priced = priced + _CHANGE * np.abs(np.arange(priced.shape[1]) - slot.planned)
    best, amount = later + priced[:, :1], np.zeros(later.shape, dtype=np.int64)
    asked = needs_mm >= slot.from_need_mm
    for units in range(slot.least, int(most.max(initial=0)) + 1):
        fits = np.flatnonzero(most >= units)
        if slot.lengthens:
            fits = fits[fits + units < totals]
        if not len(fits):
            continue
        after = later[fits + units if slot.lengthens else fits]
        shift = min(units * _CELLS_A_STEP, needs)
        moved = np.concatenate((np.repeat(after[:, :1], shift, axis=1), after[:, : needs - shift]), axis=1)
        cost = moved + (_OPERATION * slot.operations + priced[fits, units])[:, None]
        better = (cost < best[fits] - 1e-5) & asked
        best[fits] = np.where(better, cost, best[fits])
        amount[fits] = np.where(better, units, amount[fits])
    return best, amount


def _shares(numbers: Ints) -> dict[int, float]:
    found, counts = np.unique(numbers, return_counts=True)
    return {int(k): float(n) / len(numbers) for k, n in zip(found, counts, strict=True)}
