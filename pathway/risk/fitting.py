"""The pooled model fitted to published counts: its posterior by Laplace's method over a grid of slope and spreads.

Shares are binomial of 1 - exp(-m), counts Poisson of m; a count of hip or knee has the sum of both. A percent that is
not printed is an unknown of its own within its range. Given the slope and the two spreads between series everything
is nearly normal; their own posterior is a grid (Rasmussen CE, Williams CKI. Gaussian processes for machine learning.
MIT Press 2006, algorithm 3.1; Rue H, Martino S, Chopin N. J R Stat Soc B 2009;71:319-392).
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
from pathway.risk.terms import COEFFICIENTS, EVERYWHERE, SINGLE, SLOPE, Floats, covariates, mix_of, slope_factor

Ints = NDArray[np.int64]

SLOPES = np.linspace(-3.0, 3.0, 21)
"""Slopes at which the posterior is worked out, in SD of its prior."""
SPREADS_SERIES = np.geomspace(0.04, 1.5, 9)
SPREADS_OUTCOME = np.geomspace(0.1, 1.5, 12)
ROUNDS = 60
SMALL = 1e-8
HIGHEST, LOWEST = 8.0, -30.0
"""Bounds of log m while the mode is looked for, so that no step overflows."""


class NoFit(ArithmeticError):
    """The mode of the posterior was not found."""


@dataclass(frozen=True, slots=True)
class Design:
    """Published counts as arrays: one part for each outcome that a row speaks of.

    `row` (parts) says which row each part belongs to, `fixed` (parts x coefficients) its covariates but the slope's,
    `log_units` the logarithm of the lengthenings a unit; `series`, `effect`, `unknown` (parts) which series, which
    outcome of a series, which unknown percent. `factor` and `factor_sd` (parts) are middle and SD of what the slope
    is multiplied by, SD 0 where the percent is printed.
    """

    n: Floats
    of: Floats
    share: NDArray[np.bool_]
    row: Ints
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
    return Design(
        n=np.array([item.n for item in items]),
        of=np.array([item.of or 0.0 for item in items]),
        share=np.array([item.kind == "share" for item in items]),
        row=row,
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
    weights = np.zeros(len(design.row))
    for slope, series, outcome in product(SLOPES * before.sd[slope_at], SPREADS_SERIES, SPREADS_OUTCOME):
        prior_mean = design.fixed @ before.mean + design.log_units + slope * design.factor
        kernel = coefficients + series**2 * same_series + outcome**2 * same_effect + slope**2 * percents
        weights, value, bent = _mode(design, prior_mean, kernel, weights)
        inverse = np.linalg.solve(np.eye(len(kernel)) + bent @ kernel, bent)
        mean = before.mean + reach.T @ weights
        covariance = np.diag(before.sd**2) - reach.T @ inverse @ reach
        mean[slope_at] = slope
        covariance[slope_at, :] = covariance[:, slope_at] = 0.0
        _, log_determinant = np.linalg.slogdet(np.eye(len(kernel)) + bent @ kernel)
        log_prior = -((slope / before.sd[slope_at]) ** 2) / 2
        # The grid is even in the logarithm of the spreads: the prior of a spread becomes that of its logarithm.
        log_prior += sum(-((spread / before.spread) ** 2) / 2 + np.log(spread) for spread in (series, outcome))
        yield value - log_determinant / 2 + log_prior, (series, outcome), mean, (covariance + covariance.T) / 2


def _mode(design: Design, prior_mean: Floats, kernel: Floats, weights: Floats) -> tuple[Floats, float, Floats]:
    """Return the mode of log m of all parts, as the weights of the kernel, with the log posterior and its curvature.

    log m = prior mean + kernel @ weights; the curvature (parts x parts) is minus the second derivative of the log
    likelihood. Raises NoFit.
    """
    value, slope, bent = _at(design, prior_mean, kernel, weights)
    for _ in range(ROUNDS):
        away = kernel @ weights
        step = np.linalg.solve(np.eye(len(kernel)) + bent @ kernel, bent @ away + slope) - weights
        while (tried := _at(design, prior_mean, kernel, weights + step))[0] < value - SMALL:
            step = step / 2
            if np.abs(step).max() < SMALL:
                raise NoFit("no step uphill from where the mode was looked for")
        gain, weights = tried[0] - value, weights + step
        value, slope, bent = tried
        if gain < SMALL:
            return weights, value, bent
    raise NoFit(f"no mode within {ROUNDS} steps")


def _at(design: Design, prior_mean: Floats, kernel: Floats, weights: Floats) -> tuple[float, Floats, Floats]:
    """Return log posterior, slope and curvature of the log likelihood by log m of the parts."""
    away = kernel @ weights
    events = np.exp(np.clip(prior_mean + away, LOWEST, HIGHEST))
    m = np.asarray(np.bincount(design.row, events, minlength=len(design.n)), dtype=np.float64)
    value, first, second = _likelihood(design, m)
    slope = first[design.row] * events
    same_row = np.equal.outer(design.row, design.row)
    bent = -(same_row * np.outer(second[design.row] * events, events)) - np.diag(slope)
    return float(value - weights @ away / 2), slope, bent


def _likelihood(design: Design, m: Floats) -> tuple[float, Floats, Floats]:
    """Return the log likelihood of all rows and its first and second derivative by m, the events of one unit."""
    n, of = design.n, design.of
    seen = -np.expm1(-m)
    share = n * np.log(seen) - (of - n) * m, n * np.exp(-m) / seen - (of - n), -n * np.exp(-m) / seen**2
    count = n * np.log(m) - of * m, n / m - of, -n / m**2
    value, first, second = (np.where(design.share, a, b) for a, b in zip(share, count, strict=True))
    return float(value.sum()), first, second
