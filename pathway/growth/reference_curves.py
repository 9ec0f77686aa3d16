"""The share of its mature length that a bone has reached at an age: one smooth, never falling curve a sex.

The lower-limb multiplier M is mature length over present length; the curve is 1/M. The table is rounded to
0.01, which makes the speed of growth between its rows jumpy, so the rows are joined by a monotone cubic and
equal neighbours count once (the first), which moves the multiplier by less than 0.007 at one row.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from pathway.protocol.model import Protocol
from pathway.record import Sex

Floats = npt.NDArray[np.floating[Any]]
Ending = Literal["mixed", "table", "observed", "dutch_leg_length"]

_STEPS_A_YEAR = 96
_OLDEST_YEARS = 25


def plural(sex: Sex) -> str:
    """Return the word that table names carry for a sex: `girls` or `boys`."""
    return f"{sex}s"


def pchip(x: npt.ArrayLike, y: npt.ArrayLike, at: npt.ArrayLike) -> Floats:
    """Return the monotone piecewise cubic through (x, y) at the points `at`; flat outside the knots.

    Slopes are the weighted harmonic means of Fritsch and Carlson (SIAM J Numer Anal 1980;17:238-246) in the
    form of Fritsch and Butland; `x` must increase strictly and hold at least three knots.
    """
    xs, ys = np.asarray(x, float), np.asarray(y, float)
    t = np.clip(np.asarray(at, float), xs[0], xs[-1])
    h, d = np.diff(xs), np.diff(ys) / np.diff(xs)
    w1, w2 = 2 * h[1:] + h[:-1], h[1:] + 2 * h[:-1]
    same = d[:-1] * d[1:] > 0
    left, right = np.where(same, d[:-1], 1.0), np.where(same, d[1:], 1.0)
    inner = np.where(same, (w1 + w2) / (w1 / left + w2 / right), 0.0)
    slope = np.concatenate(([_end(h[0], h[1], d[0], d[1])], inner, [_end(h[-1], h[-2], d[-1], d[-2])]))
    k = np.clip(np.searchsorted(xs, t, side="right") - 1, 0, len(h) - 1)
    u = t - xs[k]
    c = (3 * d[k] - 2 * slope[k] - slope[k + 1]) / h[k]
    b = (slope[k] + slope[k + 1] - 2 * d[k]) / h[k] ** 2
    result: Floats = ys[k] + u * (slope[k] + u * (c + u * b))
    return result


def _end(h0: float, h1: float, d0: float, d1: float) -> float:
    # One-sided three-point slope, held back so that the first and last piece stay monotone.
    slope = float(((2 * h0 + h1) * d0 - h0 * d1) / (h0 + h1))
    if slope * d0 <= 0:
        return 0.0
    return float(3 * d0) if d0 * d1 < 0 and abs(slope) > abs(3 * d0) else slope


@dataclass(frozen=True, slots=True, eq=False)
class GrowthCurve:
    """Length at an age as a fraction of mature length, from birth to maturity.

    `name` says in plain words which curve it is, `mature_age_years` the first age at which nothing is left to
    grow. Between points 1/96 year apart (`ages`, `fractions`, and their differences `rises`) the curve is
    straight, so that inverting it is exact.
    """

    name: str
    sex: Sex
    mature_age_years: float
    ages: Floats
    fractions: Floats
    rises: Floats

    def fraction(self, age_years: npt.ArrayLike) -> Floats:
        """Return the fraction of mature length at each age; before birth that at birth, at the end 1."""
        x: Floats = np.asarray(age_years, float) * _STEPS_A_YEAR
        x = np.clip(x, 0.0, len(self.ages) - 1)
        k = np.minimum(x.astype(np.intp), len(self.rises) - 1)
        x -= k
        x *= self.rises.take(k)
        x += self.fractions.take(k)
        return x

    def multiplier(self, age_years: npt.ArrayLike) -> Floats:
        """Return mature length over length at each age (1.0 at maturity and after)."""
        result: Floats = 1.0 / self.fraction(age_years)
        return result

    def age_at_fraction(self, fraction: npt.ArrayLike) -> Floats:
        """Return the age in years at which a fraction of mature length is reached (0 below that at birth)."""
        grown = np.searchsorted(self.fractions, self.fractions[-1]) + 1
        result: Floats = np.interp(
            np.asarray(fraction, float),
            self.fractions[:grown],
            np.minimum(self.ages[:grown], self.mature_age_years),
        )
        return result


def growth_curve(protocol: Protocol, sex: Sex, ending: Ending | None = None) -> GrowthCurve:
    """Return the curve of one sex.

    `table` is the multiplier table as printed. `mixed` lies between that table and the curves that other children
    showed, by the weights of `reference_curve_weights` (`leanings` says how far it may lie from there). `observed`
    stretches or shortens the last part of the table so that growth ends where a cohort was seen to end (rule values
    `observed_growth_end_…`), `dutch_leg_length` takes the medians of Dutch children (Fredriks 2005, a soft-tissue
    length); None takes the one named on the protocol's card (`growth_curve`). Cached by the rows it is made from.
    Raises KeyError when the protocol has no such table or value.
    """
    ending = ending or protocol.growth_curve
    if ending == "dutch_leg_length":
        return _dutch_curve(protocol, sex)
    if ending == "mixed":
        return _mixed_curve(
            growth_curve(protocol, sex, "table"), _leanings(protocol, sex), protocol.number("mature_from_fraction")
        )
    table = protocol.table(f"multiplier_lower_limb_{plural(sex)}")
    ages = tuple(y + m / 12 for y, m in zip(table.column("years"), table.column("months"), strict=True))
    end, bend = 0.0, 0.0
    if ending == "observed":
        end = protocol.number(f"observed_growth_end_{plural(sex)}_years")
        bend = protocol.number("observed_end_bends_from_fraction")
    return _curve("lower-limb multiplier", sex, ages, table.column("multiplier"), end, bend)


@dataclass(frozen=True, slots=True, eq=False)
class Leanings:
    """How the curve of one child may lean from the multiplier table towards each of k published curves.

    `departs` (n, k) is the log of each curve over the table's at `ages` (n,), `weight` (k,) how far the mixed curve
    leans that way, and `sd` (k,) how far a child's own may lie from there. No columns where a single curve is used.
    """

    ages: Floats
    departs: Floats
    weight: Floats
    sd: Floats

    def at(self, age_years: npt.ArrayLike) -> Floats:
        """Return the log of each curve over the table's (m, k) at each age."""
        x = np.clip(np.asarray(age_years, float) * _STEPS_A_YEAR, 0.0, len(self.ages) - 1)
        k = np.minimum(x.astype(np.intp), len(self.ages) - 2)
        part = (x - k)[:, None]
        result: Floats = (1 - part) * self.departs[k] + part * self.departs[k + 1]
        return result


def leanings(protocol: Protocol, sex: Sex) -> Leanings:
    """Return how a child's curve may lie about `growth_curve`; without columns where the card names a single curve."""
    if protocol.growth_curve == "mixed":
        return _leanings(protocol, sex)
    return Leanings(_grid(), np.zeros((len(_grid()), 0)), np.zeros(0), np.zeros(0))


def _leanings(protocol: Protocol, sex: Sex) -> Leanings:
    weights = protocol.table("reference_curve_weights")
    observed = protocol.table(f"population_leg_{plural(sex)}")
    towards = tuple(str(row[weights.columns.index("curve")]) for row in weights.rows)
    return _towards(
        growth_curve(protocol, sex, "table"),
        _dutch_curve(protocol, sex),
        (observed.column("age_years"), observed.column("mean")),
        towards,
        (weights.column("weight"), weights.column("sd")),
    )


@lru_cache(maxsize=16)
def _towards(
    table: GrowthCurve,
    dutch: GrowthCurve,
    observed: tuple[tuple[float, ...], tuple[float, ...]],
    towards: tuple[str, ...],
    chosen: tuple[tuple[float, ...], tuple[float, ...]],
) -> Leanings:
    ages = table.ages
    departs = {
        # The tables of the children seen hold log(adult x table / size): its negative is where they stood.
        "observed_children": -np.interp(ages, *observed),
        "dutch_leg_length": np.log(dutch.fraction(ages) / table.fractions),
    }
    columns = np.array([departs[name] for name in towards]).T
    return Leanings(ages, columns, *(np.array(numbers) for numbers in chosen))


@lru_cache(maxsize=16)
def _mixed_curve(table: GrowthCurve, towards: Leanings, mature_from: float) -> GrowthCurve:
    fractions = np.maximum.accumulate(np.minimum(table.fractions * np.exp(towards.departs @ towards.weight), 1.0))
    fractions /= fractions[-1]
    grown = int(np.argmax(fractions >= 1.0)) + 1
    mature = float(np.interp(mature_from, fractions[:grown], table.ages[:grown]))
    name = f"lower-limb multiplier with children measured since, {plural(table.sex)}, growth ends at {mature:.1f} years"
    return _made(name, table.sex, mature, fractions)


def _dutch_curve(protocol: Protocol, sex: Sex) -> GrowthCurve:
    """The curve of the Dutch leg-length medians; before their first age in the proportion of the bone table."""
    table, bones = protocol.table(f"multiplier_dutch_{plural(sex)}"), growth_curve(protocol, sex, "table")
    ages, multipliers = table.column("age_years"), table.column("leg_length_multiplier")
    at_birth = multipliers[0] * float(bones.multiplier(0.0) / bones.multiplier(ages[0]))
    return _curve("Dutch leg length 1997", sex, (0.0, *ages), (at_birth, *multipliers), 0.0, 0.0)


def stature_curve(protocol: Protocol, sex: Sex) -> GrowthCurve:
    """Return the curve of stature of one sex (table `stature_fraction_…`); raises KeyError without it."""
    table = protocol.table(f"stature_fraction_{plural(sex)}")
    multipliers = tuple(1 / share for share in table.column("fraction"))
    return _curve("stature", sex, table.column("age_years"), multipliers, 0.0, 0.0)


@lru_cache(maxsize=64)
def _curve(
    of: str, sex: Sex, ages: tuple[float, ...], multipliers: tuple[float, ...], end: float, bend: float
) -> GrowthCurve:
    knots = [(ages[0], 1 / multipliers[0])]
    for age, multiplier in zip(ages[1:], multipliers[1:], strict=True):
        if 1 / multiplier > knots[-1][1]:
            knots.append((age, 1 / multiplier))
    mature = knots[-1][0]
    # A flat piece after maturity gives the last growing piece a level end.
    x = np.array([age for age, _ in knots] + [mature + 1])
    y = np.array([share for _, share in knots] + [knots[-1][1]])
    grid = _grid()
    name = f"{of}, {plural(sex)}, growth ends at {mature:g} years"
    where = grid
    if end:
        start = float(np.interp(bend, y[:-1], x[:-1]))
        where = np.where(grid > start, start + (grid - start) * (mature - start) / (end - start), grid)
        name = f"{of}, {plural(sex)}, end moved to {end:g} years as seen in a cohort"
        mature = end
    fractions = np.maximum.accumulate(np.minimum(pchip(x, y, where), 1.0))
    first = math.ceil(mature * _STEPS_A_YEAR - 1e-9)
    fractions[first:] = y[-1]
    return _made(name, sex, mature, fractions)


@lru_cache(maxsize=1)
def _grid() -> Floats:
    return np.arange(_OLDEST_YEARS * _STEPS_A_YEAR + 1) / _STEPS_A_YEAR


def _made(name: str, sex: Sex, mature: float, fractions: Floats) -> GrowthCurve:
    rises = np.diff(fractions)
    for array in (fractions, rises):
        array.setflags(write=False)
    return GrowthCurve(name, sex, mature, _grid(), fractions, rises)


def table_at(ages: tuple[float, ...], values: tuple[float, ...], age_years: float) -> float:
    """Return a tabulated value at an age, straight between rows and level outside them."""
    return float(np.interp(age_years, ages, values))
