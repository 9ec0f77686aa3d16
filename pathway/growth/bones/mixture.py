"""Unknowns that may turn out in more than one way: mixtures of Gaussians, re-weighed by what was measured.

Each such unknown has a few ways to turn out (a proportion that stays, one that drifts; an arrest that works, one that
hardly does), each with a chance, a mean and a spread. All combinations are carried; what the visits say of these
unknowns is Gaussian, so that every combination is conditioned exactly and its chance follows from how well it foresaw
the visits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from pathway.growth.reference_curves import Floats

Way = tuple[float, float, float]
"""One way to turn out: its chance, mean and standard deviation."""

_LEAST_CHANCE = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Ways:
    """All combinations (c) of the ways of k unknowns: `chance` (c,), `mean` (c, k) and `sd` (c, k)."""

    chance: Floats
    mean: Floats
    sd: Floats

    @property
    def centre(self) -> Floats:
        """Return the mean (k,) over all combinations."""
        result: Floats = self.chance @ self.mean
        return result

    @property
    def variance(self) -> Floats:
        """Return the variance (k,) over all combinations; the unknowns are independent before anything is seen."""
        result: Floats = self.chance @ (self.sd**2 + (self.mean - self.centre) ** 2)
        return result


def ways_of(unknowns: Sequence[Sequence[Way]]) -> Ways:
    """Return all combinations of the ways of each unknown; chances of one unknown need not add up to 1.

    Combinations of a chance below one in a thousand are left out.
    """
    chance, mean, sd = [], [], []
    for chosen in product(*unknowns):
        chance.append(float(np.prod([way[0] for way in chosen])) if chosen else 1.0)
        mean.append([way[1] for way in chosen])
        sd.append([way[2] for way in chosen])
    whole = np.array(chance) / sum(chance)
    kept = whole >= min(_LEAST_CHANCE, float(whole.max()))
    return Ways(whole[kept] / whole[kept].sum(), np.array(mean)[kept], np.array(sd)[kept])


@dataclass(frozen=True, slots=True, eq=False)
class Mixture:
    """What is known of k unknowns: combinations with `chance` (c,), `mean` (c, k) and a `root` (c, k, k) of each
    covariance."""

    chance: Floats
    mean: Floats
    root: Floats

    @property
    def centre(self) -> Floats:
        """Return the mean (k,)."""
        result: Floats = self.chance @ self.mean
        return result

    @property
    def covariance(self) -> Floats:
        """Return the covariance (k, k), the differences between the combinations included."""
        off = self.mean - self.centre
        within = np.einsum("c,cij,ckj->ik", self.chance, self.root, self.root)
        result: Floats = within + np.einsum("c,ci,cj->ij", self.chance, off, off)
        return result

    def draw(self, z: Floats, u: Floats) -> Floats:
        """Return draws (m, k) less the mean from standard normal (m, k) and uniform numbers (m,)."""
        which = np.minimum(np.searchsorted(np.cumsum(self.chance), u), len(self.chance) - 1)
        off = (self.mean - self.centre).astype(z.dtype)
        result: Floats = off[which] + np.einsum("mij,mj->mi", self.root.astype(z.dtype)[which], z)
        return result


def reweighed(ways: Ways, precision: Floats, information: Floats) -> Mixture:
    """Return the ways given measurements that say `precision` (k, k) and `information` (k,) of the unknowns."""
    inverse = ways.sd**-2.0
    whole = precision + np.einsum("ci,ij->cij", inverse, np.eye(len(information)))
    pull = information + inverse * ways.mean
    below = np.linalg.cholesky(whole)
    root = np.linalg.inv(below).swapaxes(1, 2)
    towards = np.einsum("cji,cj->ci", root, pull)
    mean = np.einsum("cij,cj->ci", root, towards)
    fit = np.log(ways.chance) - np.log(ways.sd).sum(axis=1) - 0.5 * (inverse * ways.mean**2).sum(axis=1)
    fit += 0.5 * (towards**2).sum(axis=1) - np.log(np.diagonal(below, axis1=1, axis2=2)).sum(axis=1)
    chance = np.exp(fit - fit.max())
    return Mixture(chance / chance.sum(), mean, root)
