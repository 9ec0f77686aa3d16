"""Skeletal age: by how much the curve is read ahead of the calendar, and how much surer that makes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pathway.days import age_years
from pathway.growth.population import Population
from pathway.growth.reference_curves import Floats, GrowthCurve
from pathway.protocol.question import Question

# Hand films are read for the years around puberty.
_FROM_YEARS = 9.0
_HALVINGS = 40
# More than this of the spread between children is never taken as explained by a hand film.
_MOST_EXPLAINED = 0.9


@dataclass(frozen=True, slots=True)
class Skeletal:
    """`shift_years` the curve is read ahead of the calendar, and a sentence about it.

    `tempo_variance` is that of the true offset between children (years squared), `reading_variance` that of the
    mean of the readings about it, `share` how many years of curve one year of true offset is worth; None
    without a usable reading. `most_narrowing` is the largest part of the spread between children that readings
    may take away.
    """

    shift_years: float
    note: str
    tempo_variance: float | None = None
    reading_variance: float | None = None
    share: float | None = None
    most_narrowing: float = 0.0


def skeletal_age(question: Question) -> Skeletal:
    """Return what the skeletal ages read up to a day say; readings before an age of the rules do not count.

    One reading shifts the curve by the share of the rules (`skeletal_offset_share`) of the difference from the
    calendar age; several agree or average, and each adds less.
    """
    born = question.record.child.date_of_birth
    visits = sorted((v for v in question.record.visits if v.date <= question.on), key=lambda visit: visit.date)
    read = [(visit.date, visit.skeletal_age_years) for visit in visits]
    pairs = [(age_years(born, day), skeletal) for day, skeletal in read if skeletal is not None]
    if not pairs:
        return Skeletal(0.0, "No skeletal age: growth is read at the chronological age.")
    start = question.protocol.number("skeletal_offset_from_age_years")
    usable = [(age, skeletal) for age, skeletal in pairs if age >= start]
    age, skeletal = pairs[-1]
    words = f"Skeletal age {skeletal:.1f} against {age:.1f} years"
    if not usable:
        return Skeletal(0.0, f"{words}: not used, because it says little before {start:g} years.")
    share, error = (
        question.protocol.number("skeletal_offset_share"),
        question.protocol.number("skeletal_age_reading_sd_years") ** 2,
    )
    between = question.protocol.number("skeletal_age_offset_sd_years") ** 2
    tempo = between - error
    mean = sum(skeletal - age for age, skeletal in usable) / len(usable)
    # The share is that of one difference as read; what is read holds the error of reading.
    true_share = share * between / tempo
    reading, most = error / len(usable), question.protocol.number("skeletal_most_narrowing")
    shift = true_share * tempo / (tempo + reading) * mean
    if len(usable) == 1:
        part = "half" if share == 0.5 else f"{share:.0%} of"
        return Skeletal(shift, f"{words}: curve shifted by {part} the difference.", tempo, reading, true_share, most)
    note = (
        f"Skeletal age read {len(usable)} times, {mean:+.1f} years from the chronological age on average: "
        f"curve shifted by {shift:+.1f} years."
    )
    return Skeletal(shift, note, tempo, reading, true_share, most)


def explained(skeletal: Skeletal, curve: GrowthCurve, of: Population, correlation: float) -> Floats | None:
    """Return the direction (k,) of the standard normals that the readings have explained, or None.

    With it the covariance of a bone's normals is the unit matrix less the outer product of the direction with
    itself. Both bones of a child share its tempo; `correlation` is that between the bones.
    """
    if skeletal.tempo_variance is None or skeletal.reading_variance is None or skeletal.share is None:
        return None
    ages = np.arange(_FROM_YEARS, curve.mature_age_years, 0.5)
    step = 0.25
    pace = (np.log(curve.fraction(ages + step)) - np.log(curve.fraction(ages - step))) / (2 * step)
    moves = -skeletal.share * skeletal.tempo_variance * pace
    moves /= np.sqrt(skeletal.tempo_variance + skeletal.reading_variance)
    loadings = of.at(ages)[1]
    direction = _nearest(loadings, moves, _MOST_EXPLAINED * (1 + correlation) / 2)
    # Nowhere narrower than hand films were seen to make it.
    explained_sd, most = np.abs(loadings @ direction), np.sqrt(1 - (1 - skeletal.most_narrowing) ** 2)
    room = most * of.spread(ages)
    return direction * float(min(1.0, (room / np.maximum(explained_sd, 1e-9)).min()))


def _nearest(loadings: Floats, moves: Floats, most: float) -> Floats:
    """Return the vector of squared length up to `most` whose loadings come nearest to `moves`."""
    left, scale, right = np.linalg.svd(loadings, full_matrices=False)
    along = left.T @ moves
    low, high = -12.0, 2.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        part = scale * along / (scale**2 + 10.0**middle)
        low, high = (middle, high) if part @ part > most else (low, middle)
    result: Floats = right.T @ (scale * along / (scale**2 + 10.0**high))
    return result
