"""How the forecast moves on its grid: mean kept exactly, variance too wherever it is no less than the grid's own."""

from __future__ import annotations

import math

import numpy as np

from pathway.courses.policy.programme import Floats, Ints, Programme

_MOST_A_TIME = 0.6
"""The largest variance, in squared grid steps, of one three-point move."""


def moves(mean: float, variance: float) -> tuple[Ints, Floats]:
    """Return whole grid steps (n,) and their chances (n,) of a move, mean in steps, variance in squared steps.

    A mean between two steps is shared by them, which alone has the variance f (1 - f); what is more is added by
    three-point moves without drift. A smaller variance cannot be had on the grid.
    """
    low = math.floor(mean)
    share = mean - low
    chance = np.array([1 - share, share])
    rest = variance - share * (1 - share)
    if rest > 0:
        times = math.ceil(rest / _MOST_A_TIME)
        side = rest / times / 2
        for _ in range(times):
            chance = np.convolve(chance, [side, 1 - 2 * side, side])
        low -= times
    keep = chance > 0
    return (low + np.arange(len(chance)))[keep], chance[keep]


def matrix(size: int, mean: float, variance: float) -> Floats:
    """Return the chances (size, size) from each forecast to each; what would leave the grid stays at its edge."""
    steps, chance = moves(mean, variance)
    start = np.arange(size)[:, None]
    to = np.clip(start + steps, 0, size - 1)
    out: Floats = np.zeros((size, size))
    np.add.at(out, (start, to), chance)
    return out


class Kernels:
    """The moves of one programme's forecast, each made when it is first asked for; all are (M, M), from and to."""

    def __init__(self, programme: Programme) -> None:
        self._given = programme
        self._size = len(programme.forecasts_mm)
        self._made: dict[tuple[float, float], Floats] = {}

    def _matrix(self, mean_mm: float, variance_mm2: float) -> Floats:
        key = (mean_mm, variance_mm2)
        if key not in self._made:
            grid = self._given.grid_mm
            self._made[key] = matrix(self._size, mean_mm / grid, variance_mm2 / grid**2)
        return self._made[key]

    def walk(self, visit: int) -> Floats:
        """Return how the forecast moves from a visit to the next."""
        return self._matrix(0.0, float(self._given.forecast.step_variance_mm2[visit]))

    def loss(self, mm: float) -> Floats:
        """Return how it rises where a lengthening costs so much growth."""
        return self._matrix(mm, 0.0)

    def arrest(self, tempo: int, plates: int, visit: int, *, told: bool = False) -> Floats:
        """Return how an arrest lowers it in a class of tempo, if `told` by the spread that is told."""
        arrest, at = self._given.arrest, (tempo, plates, visit)
        effect = float(arrest.effect_mm[at])
        sd = arrest.sd_share * effect if arrest.told_sd_mm is None or not told else float(arrest.told_sd_mm[at])
        return self._matrix(-effect, sd**2)
