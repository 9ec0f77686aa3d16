"""The pooled model fitted to published counts, over a grid of the slope and of the two spreads between series.

Shares are binomial of 1 - exp(-m), counts Poisson of m; a count of hip or knee has the sum of both. A percent that is
not printed is an unknown of its own within its range. Given slope and spreads the rest is found by expectation
propagation; their own posterior is the grid (Rue H, Martino S, Chopin N. J R Stat Soc B 2009;71:319-392).
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from pathway.protocol.harm import Harm
from pathway.protocol.model import Protocol
from pathway.risk.propagation import Rows, no_sites, propagated
from pathway.risk.terms import COEFFICIENTS, EVERYWHERE, SINGLE, SLOPE, Floats, covariates, mix_of, slope_factor

Ints = NDArray[np.int64]

SLOPES = np.linspace(-2.5, 3.0, 12)
"""Slopes at which the posterior is worked out, in SD of its prior."""
SPREADS_SERIES = np.geomspace(0.04, 1.5, 7)
SPREADS_OUTCOME = np.geomspace(0.1, 1.5, 9)


@dataclass(frozen=True, slots=True)
class Design:
    """Published counts as arrays: one part for each outcome that a row speaks of.

    `rows` are the counts and which parts belong to each, `fixed` (parts x coefficients) the covariates but the
    slope's, `log_units` the logarithm of the lengthenings a unit; `series`, `effect`, `unknown` (parts) which series,
    which outcome of a series, which unknown percent. `factor` and `factor_sd` (parts) are middle and SD of what the
    slope is multiplied by, SD 0 where the percent is printed.
    """

    rows: Rows
    fixed: Floats
    log_units: Floats
    series: Ints
    effect: Ints
    unknown: Ints
    factor: Floats
    factor_sd: Floats


@dataclass(frozen=True, slots=True)
class Fit:
    """The posterior as a mixture: weights (g), spreads (g x 2), means (g x c) and covariances (g x c x c)."""

    weights: Floats
    spreads: Floats
    means: Floats
    covariances: Floats


@dataclass(frozen=True, slots=True)
class Prior:
    """What is taken before any count: means and SD of the coefficients, scale of the half-normal spreads."""

    mean: Floats
    sd: Floats
    spread: float


def prior(protocol: Protocol) -> Prior:
    """Return the prior that the rules give."""
    single = [f"{outcome}:{term}" for outcome, term in SINGLE]
    mean, sd = np.zeros(len(COEFFICIENTS)), np.zeros(len(COEFFICIENTS))
    for at, name in enumerate(COEFFICIENTS):
        if name.startswith("rate:"):
            mean[at], kind = protocol.number("risk_prior_rate"), "rate"
        elif name in single:
            kind = "single"
        else:
            kind = "slope" if name == SLOPE else "cause" if name == EVERYWHERE[0] else "device"
        sd[at] = protocol.number(f"risk_prior_{kind}_sd")
    return Prior(mean, sd, protocol.number("risk_prior_spread"))


def percent_of(item: Harm, protocol: Protocol) -> tuple[float, float]:
    """Return middle and SD of the slope's factor of a count; SD 0 where the percent is printed.

    Raises ValueError for a count without any percent.
    """
    if item.percent is not None and item.percent.centre is not None:
        return float(slope_factor(item.percent.centre, protocol)), 0.0
    if item.percent_range is None:
        raise ValueError(f"{item.id}: neither a percent nor a range of it")
    low, high = slope_factor(np.array(item.percent_range), protocol)
    return float(low + high) / 2, float(high - low) / 2 / interval_z(protocol)


def interval_z(protocol: Protocol) -> float:
    """Return how many SD the intervals of the rules reach to either side."""
    return NormalDist().inv_cdf((1 + protocol.number("risk_interval_percent") / 100) / 2)


def design_of(items: Sequence[Harm], protocol: Protocol) -> Design:
    """Return published counts as arrays; raises ValueError for one that cannot be fitted."""
    rows: list[tuple[int, float, float, float]] = []
    keys: list[tuple[Hashable, Hashable, Hashable]] = []
    fixed = []
    for at, item in enumerate(items):
        middle, sd = percent_of(item, protocol)
        unknown = (item.series, item.bone, item.device, item.percent_range)
        for outcome in item.outcomes:
            rows.append((at, float(np.log(item.lengthenings_per_unit)), middle, sd))
            keys.append((item.series, (item.series, outcome), unknown))
            fixed.append(covariates(outcome, mix_of(item, protocol), protocol))
    row, log_units, factor, factor_sd = (np.array(column) for column in zip(*rows, strict=True))
    series, effect, unknown_percent = (_numbered(column) for column in zip(*keys, strict=True))
    counts = Rows(
        n=np.array([item.n for item in items]),
        of=np.array([item.of or 0.0 for item in items]),
        share=np.array([item.kind == "share" for item in items]),
        parts=tuple(np.flatnonzero(row == at) for at in range(len(items))),
    )
    return Design(
        rows=counts,
        fixed=np.array(fixed),
        log_units=log_units,
        series=series,
        effect=effect,
        unknown=unknown_percent,
        factor=factor,
        factor_sd=factor_sd,
    )


def _numbered(keys: Sequence[Hashable]) -> Ints:
    known = {key: at for at, key in enumerate(dict.fromkeys(keys))}
    return np.array([known[key] for key in keys], dtype=np.int64)


def fit(items: Sequence[Harm], protocol: Protocol) -> Fit:
    """Return the posterior of the coefficients given published counts; raises NoFit, ValueError."""
    found = list(_over_grid(design_of(items, protocol), prior(protocol)))
    logs = np.array([item[0] for item in found])
    weights = np.exp(logs - logs.max())
    return Fit(
        weights=weights / weights.sum(),
        spreads=np.array([item[1] for item in found]),
        means=np.array([item[2] for item in found]),
        covariances=np.array([item[3] for item in found]),
    )


def _over_grid(design: Design, before: Prior) -> Iterator[tuple[float, tuple[float, float], Floats, Floats]]:
    """Yield log weight, spreads, mean and covariance at each point of the grid of slopes and spreads."""
    slope_at = COEFFICIENTS.index(SLOPE)
    same_series, same_effect, same_unknown = (
        np.equal.outer(which, which).astype(float) for which in (design.series, design.effect, design.unknown)
    )
    percents = same_unknown * np.outer(design.factor_sd, design.factor_sd)
    reach = design.fixed * before.sd**2
    coefficients = reach @ design.fixed.T
    sites = no_sites(len(design.fixed))
    for slope, series, outcome in product(SLOPES * before.sd[slope_at], SPREADS_SERIES, SPREADS_OUTCOME):
        prior_mean = design.fixed @ before.mean + design.log_units + slope * design.factor
        kernel = coefficients + series**2 * same_series + outcome**2 * same_effect + slope**2 * percents
        sites, evidence = propagated(design.rows, prior_mean, kernel, sites)
        inverse = np.linalg.solve(np.eye(len(kernel)) + sites.precision @ kernel, sites.precision)
        mean = before.mean + reach.T @ sites.weights
        covariance = np.diag(before.sd**2) - reach.T @ inverse @ reach
        mean[slope_at] = slope
        covariance[slope_at, :] = covariance[:, slope_at] = 0.0
        log_prior = -((slope / before.sd[slope_at]) ** 2) / 2
        # The grid is even in the logarithm of the spreads: the prior of a spread becomes that of its logarithm.
        log_prior += sum(-((spread / before.spread) ** 2) / 2 + np.log(spread) for spread in (series, outcome))
        yield evidence + log_prior, (series, outcome), mean, (covariance + covariance.T) / 2
