"""The pooled table of the rules: written from a fit, read back as means and covariances."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from pathway.problems import refused
from pathway.protocol.harm import OUTCOMES, Harm
from pathway.protocol.model import Protocol, Table
from pathway.risk.fitting import Fit
from pathway.risk.terms import COEFFICIENTS, SLOPE, SPREADS, Floats, behind

TABLE = "pooled"
TOGETHER = "spread_together"
SUMMARY = ("mean", "sd", "q05", "q50", "q95", "rows", "series")
QUANTILES = (0.05, 0.5, 0.95)
NAMES = (*COEFFICIENTS, *SPREADS)


@dataclass(frozen=True, slots=True)
class Pooled:
    """Means and covariances of the coefficients, and the SD of log m between series, all spreads together."""

    mean: Floats
    covariance: Floats
    spread: float

    def at_slope(self, slope: float) -> Pooled:
        """Return the coefficients as they are if the slope is known to be so much (normal conditioning)."""
        at = COEFFICIENTS.index(SLOPE)
        gain = self.covariance[:, at] / self.covariance[at, at]
        mean = self.mean + gain * (slope - self.mean[at])
        covariance = self.covariance - np.outer(gain, self.covariance[at])
        mean[at] = slope
        covariance[at, :] = covariance[:, at] = 0.0
        return Pooled(mean, covariance, self.spread)


def pooled(protocol: Protocol) -> Pooled:
    """Return the pooled table of the rules as arrays; raises Refused where the rules have none, or another one."""
    table = next((table for table in protocol.tables if table.id == TABLE), None)
    names = () if table is None else tuple(str(row[0]) for row in table.rows)
    if table is None or names != (*NAMES, TOGETHER):
        found = "no such table" if table is None else f"the coefficients {', '.join(names[:3])} …"
        raise refused(
            "rules/harms/pooled.toml",
            found,
            "the coefficients that the program knows",
            "make it again: python .ci/risk/fit.py",
        )
    return _arrays(table)


@lru_cache(maxsize=4)
def _arrays(table: Table) -> Pooled:
    size = len(COEFFICIENTS)
    columns = [table.column(_column(at)) for at in range(size)]
    covariance = np.array(columns)[:, :size]
    return Pooled(np.array(table.column("mean"))[:size], covariance, table.column("mean")[-1])


def digest(items: Sequence[Harm]) -> str:
    """Return a fingerprint of what a fit reads of published counts, to tell a table that is out of step."""
    said = "\n".join(sorted(item.model_dump_json(exclude={"family_words", "note", "indirect"}) for item in items))
    return hashlib.sha256(said.encode()).hexdigest()[:16]


def in_step(protocol: Protocol) -> bool:
    """Return whether the pooled table was made from the counts that these rules have (a clinic may add its own)."""
    return protocol.table(TABLE).check == digest(behind(protocol))


def summary(found: Fit, items: Sequence[Harm]) -> tuple[tuple[str, ...], tuple[tuple[str | float, ...], ...]]:
    """Return columns and rows of the pooled table of a fit: each coefficient with its mean, spread and covariances."""
    logs = np.log(found.spreads)
    points = np.hstack([found.means, logs])
    size = len(NAMES)
    mean = found.weights @ points
    covariance = np.einsum("g,gi,gj->ij", found.weights, points - mean, points - mean)
    covariance[: len(COEFFICIENTS), : len(COEFFICIENTS)] += np.einsum("g,gij->ij", found.weights, found.covariances)
    within = np.zeros((len(points), size))
    within[:, : len(COEFFICIENTS)] = np.diagonal(found.covariances, axis1=1, axis2=2)
    rows: list[tuple[str | float, ...]] = []
    for at, name in enumerate(NAMES):
        cuts = quantiles(found.weights, points[:, at], np.sqrt(within[:, at]))
        rows.append((name, *_rounded(mean[at], covariance[at, at] ** 0.5, *cuts), *_support(name, items)))
        rows[-1] += _rounded(*covariance[at])
    together = np.hypot(*found.spreads.T)
    root = float(np.sqrt(found.weights @ together**2))
    sd = float(np.sqrt(found.weights @ (together - found.weights @ together) ** 2))
    cuts = quantiles(found.weights, together, np.zeros(len(together)))
    rows.append((TOGETHER, *_rounded(root, sd, *cuts), 0.0, 0.0, *(0.0,) * size))
    return ("coefficient", *SUMMARY, *(_column(at) for at in range(size))), tuple(rows)


def quantiles(weights: Floats, means: Floats, sds: Floats) -> tuple[float, ...]:
    """Return the 5, 50 and 95 in 100 points of a mixture of normal values; points without SD are joined by lines."""
    if not sds.any():
        order = np.argsort(means)
        values, first = np.unique(means[order], return_index=True)
        mass = np.add.reduceat(weights[order], first)
        return tuple(float(value) for value in np.interp(QUANTILES, np.cumsum(mass) - mass / 2, values))
    reach = 8 * float(sds.max())
    found = []
    for wanted in QUANTILES:
        low, high = float(means.min()) - reach, float(means.max()) + reach
        for _ in range(60):
            middle = (low + high) / 2
            below = float(weights @ _normal((middle - means) / np.maximum(sds, 1e-12)))
            low, high = (middle, high) if below < wanted else (low, middle)
        found.append((low + high) / 2)
    return tuple(found)


def table_of(
    columns: tuple[str, ...], rows: tuple[tuple[str | float, ...], ...], items: Sequence[Harm], protocol: Protocol
) -> Table:
    """Return the pooled table as a table of the rules."""
    series = len({item.series for item in items})
    centre, unit = protocol.number("risk_percent_centre"), protocol.number("risk_percent_unit")
    return Table(
        id=TABLE,
        name="Published counts of lengthenings, pooled",
        unit="log events a lengthening",
        sex="both",
        source=f"{len(items)} counts of {series} series in rules/harms (fit = true)",
        provenance="computed by .ci/risk/fit.py",
        check=digest(items),
        note=f"Posterior of log m = rate + slope (percent - {centre:g}) / {unit:g} + terms + spread of the series: "
        "mean, SD, 5, 50 and 95 in 100 points, counts and series that speak of the outcome alone, covariances in the "
        "order of the rows. spread_together: root mean square of the SD between series. Counts of groups of other "
        "children, other teams and other decades.",
        columns=columns,
        rows=rows,
    )


def _support(name: str, items: Sequence[Harm]) -> tuple[float, float]:
    """Return how many counts, and of how many series, speak of an outcome alone; all for what they share."""
    kind, _, outcome = name.partition(":")
    own = [item for item in items if item.outcomes == (outcome,)] if kind == "rate" else list(items)
    if kind in OUTCOMES:
        own = [item for item in items if kind in item.outcomes]
    return float(len(own)), float(len({item.series for item in own}))


def _column(at: int) -> str:
    return f"c{at + 1:02}"


def _rounded(*values: float) -> tuple[float, ...]:
    return tuple(round(float(value), 4) + 0.0 for value in values)


def _normal(values: Floats) -> Floats:
    """Return the normal distribution function (Abramowitz M, Stegun IA 1964, 26.2.17: error below 1e-7)."""
    t = 1 / (1 + 0.2316419 * np.abs(values))
    terms = (0.319381530, -0.356563782, 1.781477937, -1.821255978, 1.330274429)
    tail = np.exp(-(values**2) / 2) / np.sqrt(2 * np.pi) * sum(a * t ** (k + 1) for k, a in enumerate(terms))
    return np.asarray(np.where(values > 0, 1 - tail, tail), dtype=np.float64)
