"""How fast a plate at one edge of the growth plate turns the knee, and how long an angle takes: numbers, no words."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pathway.growth import Posterior, made_by_plate
from pathway.growth.reference_curves import Floats

MONTH_YEARS = 1 / 12


def rate_deg_per_month(yearly_mm: float, width_mm: float) -> float:
    """Return the correction a month: the angle whose tangent is a year's growth over the plate's width, by twelve.

    It assumes a full stop at one edge at once and full growth at the other; a plate takes up slack first.
    """
    return turned_deg(yearly_mm, width_mm) / 12


def growth_for(angle_deg: float, width_mm: float) -> float:
    """Return the growth (mm) at the free edge that turns the knee by an angle: width times its tangent."""
    return width_mm * math.tan(math.radians(angle_deg))


def turned_deg(grown_mm: float, width_mm: float) -> float:
    """Return the angle (deg) by which growth at the free edge has turned the knee."""
    return math.degrees(math.atan(grown_mm / width_mm))


@dataclass(frozen=True, slots=True)
class Growing:
    """Growth of the steered plate from the start on, mm: draws (m, n) and middle (n,) at ages (n,), rising."""

    ages: Floats
    draws: Floats
    middle: Floats

    def months_until(self, mm: float) -> tuple[float | None, float | None, float | None]:
        """Return months until so much has grown: the middle, and 5 and 95 of 100 draws; None where it never does."""
        middle = _first(self.ages, self.middle[None, :], mm)[0]
        each = np.sort(_first(self.ages, self.draws, mm))
        low, high = (float(each[round(part * (len(each) - 1))]) for part in (0.05, 0.95))
        found = (_months(self.ages, age) for age in (float(middle), low, high))
        of_all, quick, slow = found
        return of_all, quick, slow

    def grown(self, months: float) -> float:
        """Return the middle growth after so many months, mm."""
        return float(np.interp(self.ages[0] + months * MONTH_YEARS, self.ages, self.middle))

    def last_age_for(self, mm: float) -> float | None:
        """Return the last age (years) at which the plate still has so much growth ahead; None where it has not."""
        ahead = self.middle[-1] - self.middle
        if ahead[0] < mm:
            return None
        return float(np.interp(-mm, -ahead, self.ages))


def _months(ages: Floats, age: float) -> float | None:
    return None if math.isinf(age) else (age - float(ages[0])) / MONTH_YEARS


def _first(ages: Floats, grown: Floats, mm: float) -> Floats:
    """Return the age at which each row first reaches `mm`; infinity where it never does."""
    reached = grown >= mm
    k = np.maximum(np.argmax(reached, axis=1), 1)
    rows = np.arange(len(grown))
    low, high = grown[rows, k - 1], grown[rows, k]
    part = np.where(high > low, (mm - low) / np.where(high > low, high - low, 1.0), 0.0)
    result: Floats = np.where(reached.any(axis=1), ages[k - 1] + np.clip(part, 0, 1) * (ages[k] - ages[k - 1]), np.inf)
    return result


def growing(posterior: Posterior, physis: str, start_age: float) -> Growing:
    """Return the growth of one plate of the short leg from an age on, by the child's posterior."""
    ages = np.arange(start_age, max(posterior.mature_age_years, start_age) + 1.5, MONTH_YEARS)
    draws, middle = (_grown(of, physis, ages) for of in (posterior, posterior.central()))
    return Growing(ages, draws, middle[0])


def steady(yearly_mm: float, start_age: float, years: float) -> Growing:
    """Return the growth of a plate that grows evenly for so many years."""
    ages = np.arange(start_age, start_age + max(years, 2 * MONTH_YEARS), MONTH_YEARS)
    middle = yearly_mm * (ages - start_age)
    return Growing(ages, middle[None, :], middle)


def _grown(of: Posterior, physis: str, ages: Floats) -> Floats:
    return np.maximum.accumulate(made_by_plate(of, physis, "short", ages), axis=1)
