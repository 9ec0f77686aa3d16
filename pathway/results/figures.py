"""Shares, means, ratios and medians of children, with intervals that hold however alike the visits of one child are.

Every figure is of children: what one child brings several times counts as if it brought nothing new by it. Of fewer
children than the least nothing but counts is told, and how much they leave open.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pathway.protocol.model import Protocol
from pathway.record import Frozen

HUNDRED = 100.0
HALF = 0.5
NO_SKEWNESS = 1e-6
LEAST, INTERVAL, CHANCE = "results_least_children", "results_interval_percent", "results_found_percent"


@dataclass(frozen=True, slots=True)
class Terms:
    """How figures are told: of how many children at least, with which interval, and what counts as found.

    `tail` is what lies beyond either end of an interval, `chance` in how many of 1 honest clinics as much would be
    found by chance alone.
    """

    least: int
    tail: float
    chance: float


def terms_of(protocol: Protocol) -> Terms:
    """Return how the rules have figures told."""
    level = protocol.number(INTERVAL) / HUNDRED
    return Terms(round(protocol.number(LEAST)), (1 - level) / 2, protocol.number(CHANCE) / HUNDRED)


class Share(Frozen):
    """So many of so many (`count` of `of`), brought by so many children; of 100, with its exact interval.

    `per_100` is None where the children are too few for a rate; `low` and `high` then say what so few leave open.
    """

    count: float
    of: float
    children: int
    per_100: float | None
    low: float
    high: float


class Mean(Frozen):
    """A mean over children, each child with one number, and its interval; None where the children are too few.

    `found`: chance alone would rarely put the mean so far from what it ought to be; None where nothing is told.
    """

    children: int
    mean: float | None = None
    low: float | None = None
    high: float | None = None
    found: bool | None = None


class Median(Frozen):
    """A median over children with its exact interval; None where it is not known, or too few children bring it."""

    children: int
    median: float | None = None
    low: float | None = None
    high: float | None = None


def share(hits: Sequence[float], tries: Sequence[float], terms: Terms) -> Share:
    """Return the share of hits among tries, of children that each bring some of both.

    The interval is that of Clopper and Pearson for as many children as count apart: (sum of tries)^2 / sum of tries^2,
    all of them where each brings one. It is exact for one try a child and wider than need be for several.
    """
    from scipy.special import betaincinv  # noqa: PLC0415  (only results need it)

    brought = [(hit, of) for hit, of in zip(hits, tries, strict=True) if of > 0]
    count, of = sum(hit for hit, _ in brought), sum(of for _, of in brought)
    children = len(brought)
    if not children:
        return Share(count=0, of=0, children=0, per_100=None, low=0.0, high=HUNDRED)
    part = count / of
    apart = of**2 / sum(one**2 for _, one in brought)
    x = part * apart
    low = float(betaincinv(x, apart - x + 1, terms.tail)) if x > 0 else 0.0
    high = float(betaincinv(x + 1, apart - x, 1 - terms.tail)) if x < apart else 1.0
    told = round(HUNDRED * part, 1) if children >= terms.least else None
    return Share(
        count=round(count, 2),
        of=of,
        children=children,
        per_100=told,
        low=round(HUNDRED * low, 1),
        high=round(HUNDRED * high, 1),
    )


def mean(values: Sequence[float], terms: Terms, expected: float = 0.0) -> Mean:
    """Return the mean of one number a child with its interval; `found` is whether it lies off what was expected.

    The t interval, with the skewness of the values taken out, since most lengthenings come close and a few fall far
    short (Hall P. J R Stat Soc B 1992;54:221-228).
    """
    count = len(values)
    if count < max(terms.least, 2):
        return Mean(children=count)
    numbers = np.asarray(values, dtype=float)
    middle, sd = float(numbers.mean()), float(numbers.std(ddof=1))
    skewness = float((((numbers - middle) / sd) ** 3).mean()) if sd > 0 else 0.0
    low, high = _skew_free(middle, sd, skewness, count, terms.tail)
    least, most = _skew_free(middle, sd, skewness, count, terms.chance / 2)
    return Mean(children=count, mean=middle, low=low, high=high, found=not least <= expected <= most)


def _skew_free(middle: float, sd: float, skewness: float, count: int, tail: float) -> tuple[float, float]:
    from scipy.special import stdtrit  # noqa: PLC0415

    reach = float(stdtrit(count - 1, 1 - tail)) / math.sqrt(count)
    if abs(skewness) < NO_SKEWNESS:
        return middle - reach * sd, middle + reach * sd
    ends = (3 * (float(np.cbrt(1 + skewness * (y - skewness / (6 * count)))) - 1) / skewness for y in (reach, -reach))
    low, high = (middle - sd * end for end in ends)
    return low, high


def half_apart(one: Sequence[float], other: Sequence[float], terms: Terms) -> Mean:
    """Return half the difference of the means of two groups of children, one number a child (Welch's t interval).

    What shifts both groups alike falls out of it. Nothing is told where a group has not half of the least children.
    """
    groups = [np.asarray(some, dtype=float) for some in (one, other)]
    count = len(one) + len(other)
    if count < terms.least or min(len(one), len(other)) < max(terms.least / 2, 2):
        return Mean(children=count)
    errors = [float(some.var(ddof=1)) / len(some) for some in groups]
    middle, error = float(groups[0].mean() - groups[1].mean()) / 2, math.sqrt(sum(errors)) / 2
    freedom = min(len(one), len(other)) - 1.0
    if sum(errors) > 0:
        freedom = sum(errors) ** 2 / sum(e**2 / (len(some) - 1) for e, some in zip(errors, groups, strict=True))
    return _with_t(middle, error, count, 0.0, terms, freedom)


def ratio(stated: Sequence[float], seen: Sequence[float], terms: Terms) -> Mean:
    """Return what part of the stated effect came, one pair a child: 1 where all of it did.

    The slope of seen over stated through the origin. Its error needs no equal spread of the children (jackknife-like,
    HC3: MacKinnon JG, White H. J Econom 1985;29:305-325); `found` is whether it lies off 1.
    """
    effect, came = np.asarray(stated, dtype=float), np.asarray(seen, dtype=float)
    count = len(effect)
    if count < max(terms.least, 2):
        return Mean(children=count)
    squares = float(effect @ effect)
    slope = float(effect @ came) / squares
    left = (came - slope * effect) / (1 - effect**2 / squares)
    error = math.sqrt(float((effect * left) @ (effect * left))) / squares
    return _with_t(slope, error, count, 1.0, terms)


def _with_t(
    middle: float, error: float, count: int, expected: float, terms: Terms, freedom: float | None = None
) -> Mean:
    from scipy.special import stdtr, stdtrit  # noqa: PLC0415

    freedom = count - 1 if freedom is None else freedom
    reach = float(stdtrit(freedom, 1 - terms.tail)) * error
    off = abs(middle - expected)
    found = 2 * float(stdtr(freedom, -off / error)) < terms.chance if error > 0 else off > 0
    return Mean(children=count, mean=middle, low=middle - reach, high=middle + reach, found=found)


def median(values: Sequence[float], terms: Terms) -> Median:
    """Return the median of one number a child, infinite where it is not known yet but is above all that are.

    The interval reaches from one value in order to another, by the binomial distribution alone.
    """
    from scipy.special import bdtr  # noqa: PLC0415

    count = len(values)
    if count < max(terms.least, 2):
        return Median(children=count)
    ordered = sorted(values)
    # Not even the first and last value hold the median surely enough where the children are very few.
    inside = [k for k in range(count // 2 + 1) if k == 0 or float(bdtr(k - 1, count, HALF)) <= terms.tail]
    outer = inside[-1]
    low, high = (-math.inf, math.inf) if outer == 0 else (ordered[outer - 1], ordered[count - outer])
    middle = (ordered[(count - 1) // 2] + ordered[count // 2]) / 2
    return Median(children=count, median=_known(middle), low=_known(low), high=_known(high))


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None


def off_share(found: Share, stated_per_100: float, terms: Terms) -> bool | None:
    """Return whether so many came that chance alone would rarely make it of what was stated; None for too few.

    Children with chances of their own vary less about their sum than the binomial that is asked here.
    """
    from scipy.special import bdtr, bdtrc  # noqa: PLC0415

    if found.per_100 is None:
        return None
    n, k, stated = found.children, round(found.count), stated_per_100 / HUNDRED
    below = float(bdtr(k, n, stated))
    above = 1.0 if k == 0 else float(bdtrc(k - 1, n, stated))
    return 2 * min(below, above) < terms.chance
