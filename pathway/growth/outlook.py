"""The lengths of all four bones over the years to come, as draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from pathway.growth.curves import Floats
from pathway.growth.paths import lengths
from pathway.growth.posterior import Posterior
from pathway.growth.steps import Step

What = Literal["discrepancy", "long_leg", "short_leg", "long_femur", "long_tibia", "short_femur", "short_tibia"]

_STEPS_A_YEAR = 4


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """Bone lengths in mm (m, n): m draws at the n ages of `age_years`, which rise.

    `grown` is the same at one age at which every draw has stopped growing; None in itself.
    `mature_age_years` is the central end of growth.
    """

    age_years: Floats
    long_femur_mm: Floats
    long_tibia_mm: Floats
    short_femur_mm: Floats
    short_tibia_mm: Floats
    mature_age_years: float
    grown: Outlook | None = None

    @property
    def long_leg_mm(self) -> Floats:
        """Return femur + tibia of the long leg, mm (m, n)."""
        return self.long_femur_mm + self.long_tibia_mm

    @property
    def short_leg_mm(self) -> Floats:
        """Return femur + tibia of the short leg, mm (m, n)."""
        return self.short_femur_mm + self.short_tibia_mm

    @property
    def discrepancy_mm(self) -> Floats:
        """Return long leg minus short leg, mm (m, n); negative where the treated leg is longer."""
        mm = self.long_femur_mm - self.short_femur_mm
        mm += self.long_tibia_mm
        mm -= self.short_tibia_mm
        return mm

    def lengths(self, what: What = "discrepancy") -> Floats:
        """Return the draws of one quantity, mm (m, n); raises AttributeError for an unknown name."""
        value: Floats = getattr(self, f"{what}_mm")
        return value

    def bands(self, q: float | Sequence[float], what: What = "discrepancy") -> Floats:
        """Return quantiles (len(q), n) of one quantity at each age, mm; `q` from 0 to 1."""
        # Sorting in single precision is several times faster than a quantile and exact to 0.0001 mm.
        mm = np.array(self.lengths(what).T, np.float32, order="C")
        mm.sort(axis=1)
        at = np.asarray(q, float) * (mm.shape[1] - 1)
        below = np.floor(at).astype(int)
        above = np.minimum(below + 1, mm.shape[1] - 1)
        low = mm[:, below].T.astype(float)
        part = (at - below)[..., None]
        result: Floats = low + part * (mm[:, above].T - low)
        return result

    def at(self, age: float, what: What = "discrepancy") -> Floats:
        """Return the draws (m,) of one quantity at an age, mm: straight between the ages of the outlook.

        Before the first and after the last age of the outlook the nearest one counts.
        """
        mm = self.lengths(what)
        k = int(np.clip(np.searchsorted(self.age_years, age, side="right") - 1, 0, len(self.age_years) - 1))
        if k + 1 == len(self.age_years) or age <= self.age_years[k]:
            return mm[:, k]
        part = (age - self.age_years[k]) / (self.age_years[k + 1] - self.age_years[k])
        result: Floats = mm[:, k] + part * (mm[:, k + 1] - mm[:, k])
        return result

    def at_maturity(self, what: What = "discrepancy") -> Floats:
        """Return the draws (m,) of one quantity when growth has ended in every draw, mm."""
        return (self if self.grown is None else self.grown).lengths(what)[:, -1]

    def chance_above(self, mm: float, age: float | None = None) -> float:
        """Return the share of draws (0 to 1) whose discrepancy exceeds `mm` at an age (None: at maturity)."""
        draws = self.at_maturity() if age is None else self.at(age)
        return float((draws > mm).mean())


def outlook(posterior: Posterior, steps: Sequence[Step] = (), ages: npt.ArrayLike | None = None) -> Outlook:
    """Return the lengths at `ages` with further `steps` (those already done are in the posterior).

    Without `ages`: every quarter year from the day of the projection to the central end of growth.
    """
    both = (*posterior.known_steps, *steps)
    when = _default_ages(posterior) if ages is None else np.atleast_1d(np.asarray(ages, float))
    grown_up = max(float(draws.knots[-1]) for draws in posterior.bones.values())
    # An operation after the last film may end later than growth left alone.
    last = max([grown_up, float(when[-1]), *(step.age_years for step in both)]) + 1 / 12
    everywhere = np.append(when, last)
    femur = lengths(posterior.bones["femur"], posterior.curve, both, posterior.shares, everywhere)
    tibia = lengths(posterior.bones["tibia"], posterior.curve, both, posterior.shares, everywhere)
    mature = posterior.mature_age_years

    def part(cut: slice, grown: Outlook | None) -> Outlook:
        long_femur, short_femur, long_tibia, short_tibia = (mm[:, cut] for mm in (*femur, *tibia))
        return Outlook(everywhere[cut], long_femur, long_tibia, short_femur, short_tibia, mature, grown)

    return part(slice(0, -1), part(slice(-1, None), None))


def _default_ages(posterior: Posterior) -> Floats:
    start, end = posterior.age_years, posterior.mature_age_years
    if start >= end:
        return np.array([start])
    return np.append(np.arange(start, end - 1e-6, 1 / _STEPS_A_YEAR), end)
