"""Expectation propagation for counts of events whose logarithms are jointly normal before any count.

Each row is a count of one part, or of the sum of two; its likelihood is replaced by a normal one that gives the same
mean and covariance when the others are so replaced (Minka TP. Expectation propagation for approximate Bayesian
inference. UAI 2001:362-369; Rasmussen CE, Williams CKI. Gaussian processes for machine learning. MIT Press 2006, 3.6).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from pathway.risk.terms import Floats

Ints = NDArray[np.int64]

ROUNDS = 200
CLOSE = 1e-4
DAMPING = 0.9
MODE_STEPS = 8
NODES = {1: 41, 2: 25}
"""How many nodes a dimension, by how many parts a row has."""
REACH = 7.0
"""How many SD from the mode the nodes reach."""
HIGHEST, LOWEST = 12.0, -40.0
"""Bounds of log m, so that nothing overflows."""


class NoFit(ArithmeticError):
    """The rounds of propagation did not come to rest."""


@dataclass(frozen=True, slots=True)
class Rows:
    """Counts `n` of `of` units, as shares of units or numbers of events; `parts` (rows) which parts each speaks of."""

    n: Floats
    of: Floats
    share: NDArray[np.bool_]
    parts: tuple[Ints, ...]


@dataclass(frozen=True, slots=True)
class Sites:
    """The normal likelihoods: precision (parts x parts), precision times mean; `weights`: kernel @ weights is the
    posterior mean less the prior mean."""

    precision: Floats
    shift: Floats
    weights: Floats


def no_sites(parts: int) -> Sites:
    """Return sites that say nothing yet."""
    return Sites(np.zeros((parts, parts)), np.zeros(parts), np.zeros(parts))


def propagated(rows: Rows, prior_mean: Floats, kernel: Floats, start: Sites) -> tuple[Sites, float]:
    """Return the sites at rest and the logarithm of the evidence, from sites to start at; raises NoFit."""
    groups = [np.array([at for at, own in enumerate(rows.parts) if len(own) == size], dtype=int) for size in NODES]
    groups = [group for group in groups if len(group)]
    parts = [np.array([rows.parts[at] for at in group]) for group in groups]
    precision, shift = start.precision.copy(), start.shift.copy()
    identity = np.eye(len(prior_mean))
    for _ in range(ROUNDS):
        covariance = kernel - kernel @ np.linalg.solve(identity + precision @ kernel, precision @ kernel)
        mean = covariance @ shift
        moved, local = 0.0, 0.0
        for group, own in zip(groups, parts, strict=True):
            rest, at_mean = own[:, :, None], own[:, None, :]
            marginal, here = covariance[rest, at_mean], mean[own]
            inside = _inverse(marginal)
            outside = inside - precision[rest, at_mean]
            cavity = _inverse(outside)
            before = _times(cavity, _times(inside, here) - shift[own])
            log_z, after, spread = tilted(rows, group, prior_mean[own] + before, cavity)
            wanted = _inverse(spread)
            by_precision = wanted - outside - precision[rest, at_mean]
            by_shift = _times(wanted, after - prior_mean[own]) - _times(outside, before) - shift[own]
            moved = max(moved, float(np.abs(by_precision).max()), float(np.abs(by_shift).max()))
            local += float((log_z + _potential(before, cavity) - _potential(here, marginal)).sum())
            precision[rest, at_mean] += DAMPING * by_precision
            shift[own] += DAMPING * by_shift
        if moved < CLOSE * (1 + np.abs(shift).max()):
            _, log_determinant = np.linalg.slogdet(identity + precision @ kernel)
            evidence = local + float(shift @ mean) / 2 - log_determinant / 2
            return Sites(precision, shift, shift - precision @ mean), float(evidence)
    raise NoFit(f"not at rest after {ROUNDS} rounds")


def tilted(rows: Rows, which: Ints, mean: Floats, covariance: Floats) -> tuple[Floats, Floats, Floats]:
    """Return log evidence, mean and covariance of the log events of some rows, under a normal prior and their counts.

    `mean` (rows x parts of one) and `covariance` (rows x parts x parts) are those of the prior. The integrals are sums
    over a lattice around the mode.
    """
    inverse = _inverse(covariance)
    centre, scale = _mode(rows, which, mean, inverse)
    z, log_cell = _lattice(mean.shape[1])
    points = centre[:, None, :] + np.einsum("rij,qj->rqi", scale, z)
    away = points - mean[:, None, :]
    log_prior = -np.einsum("rqi,rij,rqj->rq", away, inverse, away) / 2
    m = np.exp(np.clip(points, LOWEST, HIGHEST)).sum(axis=2)
    density = log_prior + _log_likelihood(rows, which, m)
    top = density.max(axis=1, keepdims=True)
    weight = np.exp(density - top)
    total = weight.sum(axis=1)
    weight /= total[:, None]
    _, log_covariance = np.linalg.slogdet(covariance)
    _, log_scale = np.linalg.slogdet(scale)
    size = mean.shape[1]
    log_z = top[:, 0] + np.log(total) + log_cell + log_scale - (log_covariance + size * np.log(2 * np.pi)) / 2
    found = np.einsum("rq,rqi->ri", weight, points)
    apart = points - found[:, None, :]
    return log_z, found, np.einsum("rq,rqi,rqj->rij", weight, apart, apart)


def _mode(rows: Rows, which: Ints, mean: Floats, inverse: Floats) -> tuple[Floats, Floats]:
    """Return about where the density is highest, and a matrix that makes it about round there."""
    x = mean.copy()
    for _ in range(MODE_STEPS):
        events = np.exp(np.clip(x, LOWEST, HIGHEST))
        n, of, share = rows.n[which], rows.of[which], rows.share[which]
        m = events.sum(axis=1)
        # The curvature leaves out how the parts of a sum share it: it only has to be about right.
        first = np.where(share, n * m / np.maximum(np.expm1(m), m) - (of - n) * m, n - of * m)
        bent = np.where(share, np.maximum(of * m * np.exp(-m), (of - n) * m), of * m)
        part = events / m[:, None]
        slope = part * first[:, None] - _times(inverse, x - mean)
        curvature = inverse + np.einsum("ri,rj->rij", part, part) * np.maximum(bent, 0.0)[:, None, None]
        step = _times(_inverse(curvature), slope)
        x = x + np.clip(step, -1.0, 1.0)
    return x, np.asarray(np.linalg.cholesky(_inverse(curvature)), dtype=np.float64)


def _log_likelihood(rows: Rows, which: Ints, m: Floats) -> Floats:
    """Return the log likelihood (rows x nodes) of counts given the events of one unit, up to a constant of each."""
    n, of = rows.n[which][:, None], rows.of[which][:, None]
    share = n * np.log(np.maximum(-np.expm1(-m), np.exp(LOWEST))) - (of - n) * m
    return np.asarray(np.where(rows.share[which][:, None], share, n * np.log(m) - of * m), dtype=np.float64)


@cache
def _lattice(size: int) -> tuple[Floats, float]:
    """Return the nodes (nodes x size) in SD and the logarithm of the volume of one cell."""
    line = np.linspace(-REACH, REACH, NODES[size])
    mesh = np.stack(np.meshgrid(*[line] * size, indexing="ij"), axis=-1).reshape(-1, size)
    return mesh, size * float(np.log(line[1] - line[0]))


def _inverse(matrices: Floats) -> Floats:
    return np.asarray(np.linalg.inv(matrices), dtype=np.float64)


def _times(matrices: Floats, vectors: Floats) -> Floats:
    return np.asarray(np.einsum("rij,rj->ri", matrices, vectors), dtype=np.float64)


def _potential(mean: Floats, covariance: Floats) -> Floats:
    """Return the log normaliser of normal densities, up to a constant that cancels."""
    _, log_determinant = np.linalg.slogdet(covariance)
    return np.asarray((_times(_inverse(covariance), mean) * mean).sum(axis=1) / 2 + log_determinant / 2)
