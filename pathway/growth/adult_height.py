"""Adult height from the heights measured so far."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pathway.days import age_years
from pathway.growth.population import Adult, Visits, adult_size, population, recentring
from pathway.growth.reference_curves import stature_curve
from pathway.protocol.question import Question


@dataclass(frozen=True, slots=True)
class Height:
    """Adult height as a distribution, and sentences about what it rests on."""

    size: Adult
    notes: tuple[str, ...]


def adult_height(question: Question) -> Height | None:
    """Return adult height from `standing_height_mm` of the visits up to a day, or None where never measured.

    Measured on the longer leg or with the difference made up; what a growth arrest will cost is not taken off.
    How tall other children became plays no part, only how they grew.
    Heights before the first age of the table do not count.
    """
    of = population(question.protocol, "stature", question.record.child.sex)
    born = question.record.child.date_of_birth
    seen = sorted(
        (age_years(born, visit.date), float(m.value))
        for visit in question.record.visits
        if visit.date <= question.on
        for m in visit.measurements
        if m.finding == "standing_height_mm" and float(m.value) > 0
    )
    seen = [(age, mm) for age, mm in seen if age >= of.ages[0]]
    if not seen:
        return None
    ages, mm = np.array(seen).T
    curve = stature_curve(question.protocol, question.record.child.sex)
    size = adult_size(Visits(of, curve, ages, mm), recentring(question.protocol))
    low, high = (size.quantile_mm(q) / 10 for q in (0.05, 0.95))
    note = (
        f"Adult height without a growth arrest: {size.centre_mm / 10:.0f} cm "
        f"(90 % band {low:.0f} to {high:.0f} cm), from {len(seen)} measured height{'s' if len(seen) > 1 else ''}."
    )
    return Height(size, (note,))
