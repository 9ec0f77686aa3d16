"""What a fit says of counts that it has not seen: the range in which each should lie, for a new series."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from pathway.protocol.harm import Harm
from pathway.protocol.model import Protocol
from pathway.risk.fitting import Fit, fit, percent_of
from pathway.risk.terms import COEFFICIENTS, SLOPE, covariates, mix_of

DRAWS = 4000
QUANTILES = (0.05, 0.5, 0.95)


@dataclass(frozen=True, slots=True)
class Foretold:
    """One count with the range foretold for it (5 to 95 in 100 of draws, ends included) and its middle."""

    id: str
    n: float
    of: float
    low: float
    middle: float
    high: float

    @property
    def inside(self) -> bool:
        """Return whether the count lies in its range."""
        return self.low <= self.n <= self.high


def foretold(found: Fit, item: Harm, protocol: Protocol, rng: Generator) -> Foretold:
    """Return the range of one count of a series that the fit has not seen; raises ValueError without a percent."""
    at = rng.choice(len(found.weights), DRAWS, p=found.weights)
    coefficients = np.empty((DRAWS, len(COEFFICIENTS)))
    for point in np.unique(at):
        chosen = at == point
        coefficients[chosen] = rng.multivariate_normal(
            found.means[point], found.covariances[point], int(chosen.sum()), method="eigh"
        )
    middle, sd = percent_of(item, protocol)
    factor = middle + sd * rng.standard_normal(DRAWS)
    series, outcome = found.spreads[at].T
    common = coefficients[:, COEFFICIENTS.index(SLOPE)] * factor + series * rng.standard_normal(DRAWS)
    mix, m = mix_of(item, protocol), np.zeros(DRAWS)
    for name in item.outcomes:
        own = coefficients @ covariates(name, mix, protocol) + outcome * rng.standard_normal(DRAWS)
        m += item.lengthenings_per_unit * np.exp(common + own)
    of = item.of or 0.0
    drawn = rng.binomial(round(of), -np.expm1(-m)) if item.kind == "share" else rng.poisson(of * m)
    low, half, high = np.quantile(drawn, QUANTILES, method="inverted_cdf")
    return Foretold(item.id, item.n, of, float(low), float(half), float(high))


def leave_out(items: Sequence[Harm], protocol: Protocol, rng: Generator, series: Iterable[str]) -> tuple[Foretold, ...]:
    """Return the counts of these series, each foretold by a fit without its series. Raises NoFit."""
    found: list[Foretold] = []
    for name in series:
        without = fit([item for item in items if item.series != name], protocol)
        found += [foretold(without, item, protocol, rng) for item in items if item.series == name]
    return tuple(found)
