"""How children depart from the reference curve, and what that says of one child's adult size.

The deviation of a child at an age is log(adult size x reference fraction / size at that age). Between children
it is Gaussian: a mean by age, by some part of which the curve is recentred, a loading on adult size, and loadings
on independent factors, all from the covariance of measured children (tables `population_…`). Conditioning on any
visits is then exact and linear.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from typing import Literal

import numpy as np
import numpy.typing as npt

from pathway.growth.reference_curves import Floats, GrowthCurve, plural
from pathway.protocol.model import Protocol, Table
from pathway.record import Sex

Measure = Literal["stature", "leg"]

_EXACT = 1e-4


@dataclass(frozen=True, slots=True, eq=False)
class Population:
    """The children of one sex and measure.

    At `ages` (n,): `mean` deviation (n,) and `loadings` (n, k) on standard normals that stature and leg share.
    `size_loadings` (k,) are those of the log of adult size itself; `wander_sd` is what one measurement strays
    from its smooth course.
    """

    measure: Measure
    sex: Sex
    ages: Floats
    mean: Floats
    loadings: Floats
    size_loadings: Floats
    wander_sd: float

    @property
    def factors(self) -> int:
        """Return the number of standard normals."""
        return int(self.loadings.shape[1])

    def at(self, age_years: npt.ArrayLike) -> tuple[Floats, Floats]:
        """Return mean (m,) and loadings (m, k) at each age, straight between the table's rows."""
        age = np.clip(np.asarray(age_years, float), self.ages[0], self.ages[-1])
        k = np.clip(np.searchsorted(self.ages, age, side="right") - 1, 0, len(self.ages) - 2)
        part = (age - self.ages[k]) / (self.ages[k + 1] - self.ages[k])
        mean = self.mean[k] + part * (self.mean[k + 1] - self.mean[k])
        loadings = self.loadings[k] + part[:, None] * (self.loadings[k + 1] - self.loadings[k])
        return mean, loadings

    def spread(self, age_years: npt.ArrayLike) -> Floats:
        """Return the standard deviation (m,) of the deviation between children at each age."""
        result: Floats = np.sqrt((self.at(age_years)[1] ** 2).sum(axis=1))
        return result


def population(protocol: Protocol, measure: Measure, sex: Sex) -> Population:
    """Return the children of one measure and sex from the protocol's tables; raises KeyError without them."""
    table, sizes = protocol.table(f"population_{measure}_{plural(sex)}"), protocol.table("population_size")
    return _population(table, sizes, measure, sex, protocol.number("population_wander_sd"))


@lru_cache(maxsize=32)
def _population(table: Table, sizes: Table, measure: Measure, sex: Sex, wander_sd: float) -> Population:
    at = {name: sizes.columns.index(name) for name in sizes.columns}
    row = next(r for r in sizes.rows if r[at["measure"]] == measure and r[at["sex"]] == plural(sex))
    loaded = [name for name in table.columns if name.startswith(("size_", "factor_"))]
    return Population(
        measure=measure,
        sex=sex,
        ages=np.array(table.column("age_years")),
        mean=np.array(table.column("mean")),
        loadings=np.array([table.column(name) for name in loaded]).T,
        size_loadings=np.array([float(row[at[name]]) if name in at else 0.0 for name in loaded]),
        wander_sd=wander_sd,
    )


def pull_sd(pull: float) -> float:
    """Return how loosely log mature length is tied to the population's, in its standard deviations.

    `pull` 1 ties it wholly; towards 0 the population says less and less.
    """
    return max(math.sqrt(1 / pull - 1), _EXACT)


@dataclass(frozen=True, slots=True)
class Adult:
    """Adult size as a distribution: its log is normal with `mean_log` (of mm) and `sd_log`."""

    mean_log: float
    sd_log: float

    @property
    def centre_mm(self) -> float:
        """Return the median in mm."""
        return float(np.exp(self.mean_log))

    def quantile_mm(self, q: float) -> float:
        """Return the size in mm that lies above with chance 1 - q (0 < q < 1)."""
        return float(np.exp(self.mean_log + self.sd_log * NormalDist().inv_cdf(q)))


@dataclass(frozen=True, slots=True, eq=False)
class Visits:
    """Sizes `mm` of one measure at `ages_years`, with the children and the curve they are read against."""

    of: Population
    curve: GrowthCurve
    ages_years: Floats
    mm: Floats


@dataclass(frozen=True, slots=True)
class Recentring:
    """How far the reference curve is moved towards the observed children: 0 not at all, 1 to their mean.

    Known as normal with `mean` and `sd`; the visits weigh it anew.
    """

    mean: float
    sd: float


def recentring(protocol: Protocol) -> Recentring:
    """Return what the protocol holds of the curve of stature before any visit; raises KeyError without it."""
    name = "stature_curve_towards_observed"
    return Recentring(protocol.number(name), protocol.number(f"{name}_sd"))


def adult_size(seen: Visits, towards: Recentring) -> Adult:
    """Return the adult size that the visits of `seen`, at least one, lead to expect.

    Adult size itself is free: nothing is assumed of how big the child will be, only of how sizes grow into it.
    Given that, conditioning is exact, for the log of every size is linear in adult size, recentring and departures.
    Raises ValueError for no visit or a size that is not above zero.
    """
    if not len(seen.mm):
        raise ValueError("adult size needs at least one visit")
    if (seen.mm <= 0).any():
        raise ValueError(f"a size must be above 0 mm, found {seen.mm.min():g}")
    mean, loadings = seen.of.at(seen.ages_years)
    design = np.column_stack((-towards.sd * mean, -loadings))
    naive = np.log(seen.mm / seen.curve.fraction(seen.ages_years)) + towards.mean * mean
    weight = np.linalg.inv(design @ design.T + seen.of.wander_sd**2 * np.eye(len(naive)))
    precision = weight.sum()
    return Adult(float(weight.sum(axis=0) @ naive / precision), float(1 / np.sqrt(precision)))
