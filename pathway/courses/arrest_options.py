"""The growth arrests of the long leg that may be chosen: which plates, how much, at what age."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pathway.courses.course import PLATES, Arrest
from pathway.growth import Posterior, arrest_takes
from pathway.growth.reference_curves import Floats
from pathway.protocol.model import Bone, Protocol


@dataclass(frozen=True, slots=True, eq=False)
class ArrestEffects:
    """What closing growth plates of the long leg would still prevent, mm, month by month (falling)."""

    age_years: Floats
    by_plate: Mapping[str, Floats]

    def of(self, physes: tuple[str, ...]) -> Floats:
        """Return the growth in mm that closing these plates prevents, at each age."""
        total: Floats = sum((self.by_plate[plate] for plate in physes), np.zeros(len(self.age_years)))
        return total

    def reached(self, arrest: Arrest | None, ages: Floats) -> Floats:
        """Return how much of its effect an arrest has had by each of some ages, mm (J,)."""
        if arrest is None:
            return np.zeros(len(ages))
        still = np.minimum(np.interp(ages, self.age_years, self.of(arrest.physes)), arrest.effect_mm)
        return np.where(ages >= arrest.age_years, arrest.effect_mm - still, 0.0)


def arrest_effects(posterior: Posterior, first_years: float, last_years: float) -> ArrestEffects:
    """Return the effects between two ages on the central projection."""
    ages = np.linspace(first_years, last_years, round(12 * (last_years - first_years)) + 1)
    central = posterior.central()
    return ArrestEffects(ages, {plate: arrest_takes(central, plate, ages)[0] for plate in PLATES.values()})


def arrests(
    stage: str, effects: ArrestEffects, first: Bone, earliest_years: float, protocol: Protocol
) -> tuple[Arrest, ...]:
    """Return every growth arrest in steps of the plan from an age on; `stage` is the one that does it.

    By the plate of the deficient bone, and by both knee plates where that one alone cannot give the most that
    an arrest is used for. The age follows from the effect, later for less.
    """
    plates = tuple(PLATES.values())
    own = PLATES[first]
    both = (own, *(plate for plate in plates if plate != own))
    low, high, step = (protocol.number(name) for name in ("arrest_least_mm", "arrest_most_mm", "amount_step_mm"))
    ages, of_both = effects.age_years, effects.of(both)
    found = []
    for physes in ((own,), both):
        effect = effects.of(physes)
        most = float(np.interp(earliest_years, ages, effect))
        for mm in map(float, np.arange(low, high + step / 2, step)):
            if most >= mm:
                age = float(np.interp(-mm, -effect, ages))
                found.append(Arrest(stage, age, physes, mm, float(np.interp(-mm, -of_both, ages))))
        if most >= high:
            break
    return tuple(found)


def arrest_from_years(stage: str, protocol: Protocol, sex: str, first_years: float) -> float:
    """Return the youngest age at which the rules allow the arrest of a stage, not before the first age of the plan."""
    months = [
        rule.at_least_months or 0
        for rule in protocol.age_windows
        if rule.stage == stage and rule.hard and rule.sex in (None, sex)
    ]
    return max(first_years, *(month / 12 for month in months), 0.0)
