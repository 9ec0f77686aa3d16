"""What a lengthening leads to: one pass over its outcomes for every amount.

Arrays are (gains, joints, columns); the columns are forecasts, one grid of them after another.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pathway.courses.policy.actions import Best, no_codes
from pathway.courses.policy.kernels import Kernels
from pathway.courses.policy.layout import STOPPED, Level
from pathway.courses.policy.programme import Floats, Lengthening

Path = tuple[Level, Floats, Floats]
"""Where a lengthening leads: the level, what its states cost (gains, joints, columns), and the chance (X, G) of it."""


def gain_bands(table: Lengthening, visit: int) -> Floats:
    """Return by amount the chances (X, G, G) of each gain to become each; beyond the grid it stays at its end."""
    top = table.allowed.shape[2] - 1
    steps = np.asarray(table.gain_steps[visit])
    amounts, gains = np.arange(len(steps))[:, None, None], np.arange(top + 1)
    bands: Floats = np.zeros((len(steps), top + 1, top + 1))
    np.add.at(bands, (amounts, gains, np.minimum(gains + steps[..., None], top)), table.gain_chance[visit])
    return bands


def lengthened(
    table: Lengthening,
    kernels: Kernels,
    visit: int,
    here: Level,
    paths: Sequence[Path],
    bands: Floats,
    *,
    seen: bool,
) -> Best:
    """Return the least cost over the amounts allowed, codes being amounts; infinite where none is.

    `bands` are the `gain_bands` of the visit.
    """
    columns, kind = paths[0][1].shape[2], paths[0][1].dtype
    shape = (*here.size, columns)
    best = Best(np.full(shape, np.inf, kind), no_codes(shape, len(bands)), {} if seen else None)
    charge = np.where(table.allowed[visit], table.cost[visit], np.inf)[:, here.gains][:, :, list(here.joints), None]
    charge = charge.astype(kind)
    ways = [_Way(table, kernels, visit, here, path, bands) for path in paths]
    for amount in (int(x) for x in np.flatnonzero(table.allowed[visit].any(axis=(1, 2)))):
        cost = np.add(ways[0].after(amount), charge[amount])
        for way in ways[1:]:
            cost += way.after(amount)
        best.take(cost, amount)
    return best


class _Way:
    """One path at one visit: the costs behind it, and those after lost growth, as (gains, joints and columns)."""

    def __init__(
        self, table: Lengthening, kernels: Kernels, visit: int, here: Level, path: Path, bands: Floats
    ) -> None:
        then, costs, chance = path
        kind = costs.dtype
        self._costs = costs.reshape(len(costs), -1)
        self._shape = costs.shape[1:]
        self._loss = np.asarray(table.loss_chance[visit], float)
        self._loss_mm = np.asarray(table.loss_mm[visit], float)
        self._rise = [
            kernels.loss(mm) if loss > 0 else None for loss, mm in zip(self._loss, self._loss_mm.tolist(), strict=True)
        ]
        band = bands[:, here.gains, then.gains] * chance[:, here.gains, None]
        self._kept = ((1 - self._loss)[:, None, None] * band).astype(kind)
        self._lost = (self._loss[:, None, None] * band).astype(kind)
        self._change: Floats | None = None
        if then.done != STOPPED:
            change = table.joints[visit][:, here.gains]
            self._change = change[:, :, list(here.joints)][..., list(then.joints)].astype(kind)
        self._after: dict[float, Floats] = {}

    def after(self, amount: int) -> Floats:
        """Return what comes after a lengthening by an amount, weighed by the chance of this path."""
        flat: Floats = self._kept[amount] @ self._costs
        rise = self._rise[amount]
        if rise is not None:
            key = float(self._loss_mm[amount])
            if key not in self._after:
                moved = self._costs.reshape(-1, len(rise)) @ rise.T.astype(flat.dtype)
                self._after[key] = moved.reshape(self._costs.shape)
            flat += self._lost[amount] @ self._after[key]
        out: Floats = flat.reshape(len(flat), *self._shape)
        return out if self._change is None else np.matmul(self._change[amount], out)
