"""Skeletal age: by how much the curve is read ahead of the calendar, and how much surer that makes."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import numpy as np

from pathway.days import age_words, age_years, most_days
from pathway.growth.population import Population
from pathway.growth.reference_curves import Floats, GrowthCurve
from pathway.protocol.question import Question
from pathway.protocol.skeletal_methods import only_a_bound, read_words, reading_sd_years

SKELETAL_AGE = "skeletal_age_years"
_HALVINGS = 40


@dataclass(frozen=True, slots=True)
class Skeletal:
    """`shift_years` the curve is read ahead of the calendar, and a sentence about it.

    `tempo_variance` is that of the true offset between children (years squared), `reading_variance` that of the
    mean of the readings about it, `share` how many years of curve one year of true offset is worth; None
    without a usable reading. `most_narrowing` is the largest part of the spread between children that readings
    may take away, `most_explained` of what sets one child apart, `from_years` the age from which they count.
    """

    shift_years: float
    note: str
    tempo_variance: float | None = None
    reading_variance: float | None = None
    share: float | None = None
    most_narrowing: float = 0.0
    most_explained: float = 0.0
    from_years: float = 0.0


@dataclass(frozen=True, slots=True)
class SkeletalReading:
    """One skeletal age as read: years, the child's age and day, how it was read (a method's id) and its error (SD)."""

    years: float
    age_years: float
    date: datetime.date
    method: str | None
    sd_years: float

    @property
    def offset_years(self) -> float:
        """Return by how much the skeletal age is ahead of the calendar (years)."""
        return self.years - self.age_years


def skeletal_readings(question: Question) -> tuple[tuple[SkeletalReading, ...], tuple[str, ...]]:
    """Return the readings up to a day, oldest first, and why others say nothing of a child of their age."""
    found, passed = [], []
    child, protocol = question.record.child, question.protocol
    for visit in sorted((v for v in question.record.visits if v.date <= question.on), key=lambda visit: visit.date):
        if visit.skeletal_age_years is None:
            continue
        age = age_years(child.date_of_birth, visit.date)
        if bound := only_a_bound(protocol, visit, child.sex, age):
            passed.append(f"Skeletal age of {visit.date} not used at {age_words(age)}: {bound}.")
            continue
        method = visit.skeletal_age_method
        sd = reading_sd_years(protocol, method)
        found.append(SkeletalReading(visit.skeletal_age_years, age, visit.date, method, sd))
    return tuple(found), tuple(passed)


def read_near(question: Question, day: datetime.date) -> SkeletalReading | None:
    """Return the reading nearest to a day, None where none is near enough: no further than a skeletal age is valid."""
    found, _ = skeletal_readings(question)
    near = min(found, key=lambda one: abs((one.date - day).days), default=None)
    months = question.protocol.finding(SKELETAL_AGE).valid_months
    if near is None or (months is not None and abs((near.date - day).days) > most_days(months)):
        return None
    return near


def skeletal_age(question: Question) -> Skeletal:
    """Return what the skeletal ages read up to a day say; readings before an age of the rules do not count.

    Each reading enters with the error of the way in which it was read, several are averaged by their precision. One
    reading by the hand atlas shifts the curve by the share of the rules (`skeletal_offset_share`) of its difference
    from the calendar age, a less exact one by less, several by somewhat more.
    """
    number = question.protocol.number
    found, passed = skeletal_readings(question)
    if not found:
        return Skeletal(0.0, " ".join((*passed, "No skeletal age: growth is read at the chronological age.")))
    start = number("skeletal_offset_from_age_years")
    usable = [one for one in found if one.age_years >= start]
    words = _words(found[-1], question)
    if not usable:
        because = f"not used, because it says little before {start:g} years; the band is neither narrowed nor widened"
        return Skeletal(0.0, " ".join((*passed, f"{words}: {because}.")))
    share, error = number("skeletal_offset_share"), number("skeletal_age_reading_sd_years") ** 2
    between = number("skeletal_age_offset_sd_years") ** 2
    tempo = between - error
    weights = [one.sd_years**-2 for one in usable]
    mean = sum(w * one.offset_years for w, one in zip(weights, usable, strict=True)) / sum(weights)
    # The share is that of one difference as read from the atlas; what is read holds the error of reading.
    true_share = share * between / tempo
    reading = 1 / sum(weights)
    shift = true_share * tempo / (tempo + reading) * mean
    if len(usable) == 1:
        part = round(shift / mean, 2) if mean else share
        moved = f"curve shifted by {'half' if part == 0.5 else f'{part:.0%} of'} the difference"
        note = f"{_words(usable[-1], question)}: {moved}."
    else:
        note = (
            f"Skeletal age read {len(usable)} times, {mean:+.1f} years from the chronological age on average "
            f"(last {_how(usable[-1], question)}): curve shifted by {shift:+.1f} years."
        )
    return Skeletal(
        shift,
        " ".join((*passed, note)),
        tempo,
        reading,
        true_share,
        number("skeletal_most_narrowing"),
        number("skeletal_most_explained"),
        start,
    )


def _words(one: SkeletalReading, question: Question) -> str:
    return f"Skeletal age {one.years:.1f} ({_how(one, question)}) against {age_words(one.age_years)}"


def _how(one: SkeletalReading, question: Question) -> str:
    return read_words(question.protocol, one.method)


def explained(skeletal: Skeletal, curve: GrowthCurve, of: Population, correlation: float) -> Floats | None:
    """Return the direction (k,) of the standard normals that the readings have explained, or None.

    With it the covariance of a bone's normals is the unit matrix less the outer product of the direction with
    itself. Both bones of a child share its tempo; `correlation` is that between the bones.
    """
    if skeletal.tempo_variance is None or skeletal.reading_variance is None or skeletal.share is None:
        return None
    ages = np.arange(skeletal.from_years, curve.mature_age_years, 0.5)
    step = 0.25
    pace = (np.log(curve.fraction(ages + step)) - np.log(curve.fraction(ages - step))) / (2 * step)
    moves = -skeletal.share * skeletal.tempo_variance * pace
    moves /= np.sqrt(skeletal.tempo_variance + skeletal.reading_variance)
    loadings = of.at(ages)[1]
    direction = _nearest(loadings, moves, skeletal.most_explained * (1 + correlation) / 2)
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
