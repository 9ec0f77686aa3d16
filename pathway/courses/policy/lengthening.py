"""What a lengthening leads to: one pass over its outcomes for every amount, banded along the gain.

Arrays are (gains, joints, columns); the columns are forecasts, one grid of them after another.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pathway.courses.policy.actions import Best
from pathway.courses.policy.kernels import Kernels
from pathway.courses.policy.layout import STOPPED, Level
from pathway.courses.policy.programme import Floats, Programme

Path = tuple[Level, Floats, Floats]
"""Where a lengthening leads: the level, what its states cost (gains, joints, columns), and the chance (X, G) of it."""


def lengthened(
    programme: Programme, kernels: Kernels, visit: int, here: Level, paths: Sequence[Path], *, seen: bool
) -> Best:
    """Return the least cost over the amounts allowed, codes being amounts; infinite where none is."""
    columns, kind = paths[0][1].shape[2], paths[0][1].dtype
    shape = (*here.size, columns)
    best = Best(np.full(shape, np.inf, kind), np.zeros(shape, np.uint16), {} if seen else None)
    table = programme.lengthening
    joints = np.array(here.joints)
    ways = [_Way(programme, kernels, visit, here, path) for path in paths]
    for amount in (int(x) for x in np.flatnonzero(table.allowed[visit].any(axis=(1, 2)))):
        charge = np.where(table.allowed[visit, amount], table.cost[visit, amount], np.inf)
        cost = sum(way.after(amount) for way in ways) + charge[here.gains][:, joints, None].astype(kind)
        best.take(np.asarray(cost), amount)
    return best


class _Way:
    """One path at one visit: the costs behind it, padded so that every gain is a slice, and those after lost growth."""

    def __init__(self, programme: Programme, kernels: Kernels, visit: int, here: Level, path: Path) -> None:
        self._given, self._kernels, self._visit, self._here = programme, kernels, visit, here
        self._then, costs, self._chance = path
        steps = programme.lengthening.gain_steps[visit]
        over = max(here.high + int(steps.max(initial=0)) - self._then.high, 0)
        self._costs = np.concatenate((costs, np.repeat(costs[-1:], over, axis=0)))
        self._lost: dict[float, Floats] = {}

    def after(self, amount: int) -> Floats:
        """Return what comes after a lengthening by an amount, weighed by the chance of this path."""
        table, visit, gains = self._given.lengthening, self._visit, self._here.gains
        kind = self._costs.dtype
        costs = self._costs
        chance = float(table.loss_chance[visit, amount])
        if chance > 0:
            costs = costs + kind.type(chance) * self._change(amount)
        count = self._here.size[0]
        out: Floats | None = None
        weight = (table.gain_chance[visit, amount] * self._chance[amount])[:, gains].astype(kind)
        for steps, share in zip(table.gain_steps[visit, amount], weight, strict=True):
            if not share.any():
                continue
            low = self._here.low + int(steps) - self._then.low
            part = share[:, None, None] * costs[low : low + count]
            out = part if out is None else out + part
        if out is None:
            return np.zeros((count, len(self._here.joints), costs.shape[2]), kind)
        if self._then.done == STOPPED:
            return out
        change = table.joints[visit, amount][gains][:, np.array(self._here.joints)][:, :, np.array(self._then.joints)]
        mixed: Floats = np.matmul(change.astype(kind), out)
        return mixed

    def _change(self, amount: int) -> Floats:
        """Return by how much lost growth changes the costs."""
        key = float(self._given.lengthening.loss_mm[self._visit, amount])
        if key not in self._lost:
            size = len(self._given.forecasts_mm)
            rise = self._kernels.loss(self._visit, amount).T.astype(self._costs.dtype)
            self._lost[key] = (self._costs.reshape(-1, size) @ rise).reshape(self._costs.shape) - self._costs
        return self._lost[key]
