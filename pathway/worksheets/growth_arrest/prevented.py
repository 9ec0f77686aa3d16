"""How much growth closing some growth plates of the long leg would still prevent, by age: numbers, no words."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pathway.courses.course import PLATES
from pathway.growth import Posterior, arrest_takes
from pathway.growth.reference_curves import Floats

CHOICES: Mapping[str, tuple[str, ...]] = {
    "distal_femur": (PLATES["femur"],),
    "proximal_tibia": (PLATES["tibia"],),
    "both": (PLATES["femur"], PLATES["tibia"]),
}
"""The growth plates that may be closed, by the name under which they are chosen."""
STEPS_A_YEAR = 4


@dataclass(frozen=True, slots=True)
class Left:
    """The growth that closing some plates would still prevent: draws (m, n) and the middle (n,), mm, at ages (n,).

    It never rises with age: what has grown cannot be prevented.
    """

    ages: Floats
    draws: Floats
    middle: Floats

    def age_for(self, mm: float) -> float | None:
        """Return the age (years) at which the middle projection has just `mm` left; None where it never had."""
        age = float(_crossing(self.ages, self.middle[None, :], mm)[0])
        return None if math.isnan(age) else age

    def ages_for(self, mm: float) -> Floats:
        """Return that age in every draw (m,), not a number where it is past."""
        return _crossing(self.ages, self.draws, mm)

    def at(self, age: float) -> tuple[float, Floats]:
        """Return the middle and the draws of what is still prevented when the plates are closed at an age, mm."""
        k = int(np.clip(np.searchsorted(self.ages, age, side="right") - 1, 0, len(self.ages) - 2))
        part = min(max((age - self.ages[k]) / (self.ages[k + 1] - self.ages[k]), 0.0), 1.0)
        draws: Floats = self.draws[:, k] + part * (self.draws[:, k + 1] - self.draws[:, k])
        return float(self.middle[k] + part * (self.middle[k + 1] - self.middle[k])), draws


def _crossing(ages: Floats, left: Floats, mm: float) -> Floats:
    # Rows fall: the last age with at least `mm` left, and a straight line to the next.
    enough = (left >= mm).sum(axis=1)
    k = np.clip(enough - 1, 0, left.shape[1] - 2)
    rows = np.arange(len(left))
    high, low = left[rows, k], left[rows, k + 1]
    part = np.where(high > low, (high - mm) / np.where(high > low, high - low, 1.0), 0.0)
    found: Floats = np.where(enough > 0, ages[k] + np.clip(part, 0.0, 1.0) * (ages[k + 1] - ages[k]), np.nan)
    return found


def growth_left(posterior: Posterior) -> Mapping[str, Left]:
    """Return what each choice of plates of the long leg would still prevent, from the day of the projection on."""
    last = max(posterior.mature_age_years, posterior.age_years) + 1.0
    grown_up = max(
        *(float(of.bones[bone].knots[-1]) for of in (posterior, posterior.central()) for bone in PLATES), last
    )
    ages = np.append(np.arange(posterior.age_years, last, 1 / STEPS_A_YEAR), grown_up + 1.0)
    draws, middle = _prevented(posterior, ages), _prevented(posterior.central(), ages)
    left = {}
    for name, physes in CHOICES.items():
        both = [sum((of[plate] for plate in physes), np.zeros(1)) for of in (draws, middle)]
        left[name] = Left(ages, both[0], both[1][0])
    return left


def _prevented(posterior: Posterior, ages: Floats) -> Mapping[str, Floats]:
    found = {}
    for plate in PLATES.values():
        found[plate] = np.minimum.accumulate(arrest_takes(posterior, plate, ages), axis=1)
    return found
