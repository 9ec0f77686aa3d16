"""Both legs of one child as functions of a few unknowns, and those unknowns given what was measured.

Unknown are, per bone, the log of mature length (free), how the child departs from the curve (standard normals
of the population, correlated between femur and tibia), the share of growth that the short bone keeps, how far
that share drifts from the proportion of the lengths, and what each lengthening gained beyond its record. Lengths
are nearly linear in them, so the most likely values and their covariance come from a few linear steps.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pathway.growth.population import Population
from pathway.growth.reference_curves import Floats, GrowthCurve
from pathway.growth.surgery import BONES, Leg, Step
from pathway.protocol.model import Bone

_ROUNDS = 12
_SETTLED = 1e-7
# Stands for "unknown" where a whole covariance is needed: e^±10 in a log, ±10 in a share.
_FLAT_PRECISION = 1e-2


@dataclass(frozen=True, slots=True)
class Layout:
    """Where each unknown stands in the vector of unknowns."""

    factors: int
    jumps: tuple[Step, ...]

    @property
    def width(self) -> int:
        """Return the number of unknowns."""
        return 2 + 2 * self.factors + 4 + len(self.jumps)

    def size(self, bone: Bone) -> int:
        """Return the place of the log of mature length in mm."""
        return BONES.index(bone)

    def departure(self, bone: Bone) -> slice:
        """Return the places of the standard normals of a bone."""
        first = 2 + BONES.index(bone) * self.factors
        return slice(first, first + self.factors)

    def share(self, bone: Bone) -> int:
        """Return the place of short over long at the first visit."""
        return 2 + 2 * self.factors + 2 * BONES.index(bone)

    def drift(self, bone: Bone) -> int:
        """Return the place of the share of growth less the share of length."""
        return self.share(bone) + 1

    def jump(self, k: int) -> int:
        """Return the place of what the k-th lengthening gained beyond its record, mm."""
        return 2 + 2 * self.factors + 4 + k


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """All that is taken as given: the curve and by how many years it is read ahead, population, operations.

    `starts` is the age at which each bone's proportion is defined (its first visit).
    """

    curve: GrowthCurve
    of: Population
    shift_years: float
    steps: tuple[Step, ...]
    shares: Mapping[str, float]
    starts: Mapping[Bone, float]
    layout: Layout

    def steps_on(self, leg: Leg, bone: Bone) -> list[Step]:
        """Return the operations on one bone, oldest first."""
        return sorted((s for s in self.steps if s.leg == leg and s.bone == bone), key=lambda s: s.age_years)


def growth_map(steps: Sequence[Step], shares: Mapping[str, float], ages: Floats) -> Floats:
    """Return the matrix (n, n) from lengths at `ages` left alone to lengths without the growth that steps took.

    `ages` must hold the age of every step.
    """
    at = {float(age): k for k, age in enumerate(ages)}
    result = np.eye(len(ages))
    stopped: set[str] = set()
    pace, kept = 1.0, 1.0
    for step in (s for s in steps if s.stops or s.slows):
        stopped.update(step.stops)
        pace *= 1.0 - step.slows
        new = pace * max(1.0 - sum(shares[physis] for physis in stopped), 0.0)
        here = at[float(step.age_years)]
        for k in range(here + 1, len(ages)):
            result[k, k] += new - kept
            result[k, here] -= new - kept
        kept = new
    return result


@dataclass(frozen=True, slots=True, eq=False)
class BoneView:
    """One bone at chosen ages: its lengths in mm and their slopes in the unknowns."""

    frame: Frame
    bone: Bone
    ages: Floats
    base: Floats
    design: Floats
    maps: tuple[Floats, Floats]
    gains: tuple[Floats, Floats]
    jumps: Floats
    start: int

    def places(self, ages: Sequence[float]) -> list[int]:
        """Return where each age stands in this view."""
        return [int(np.searchsorted(self.ages, age)) for age in ages]

    def lengths(self, x: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Return long (n,), short (n,) and their slopes (n, width) at the unknowns `x`."""
        alone = np.exp(self.base + self.design @ x)
        slopes = alone[:, None] * self.design
        long, long_slopes = self.maps[0] @ alone + self.gains[0], self.maps[0] @ slopes
        grown, grown_slopes = self.maps[1] @ alone, self.maps[1] @ slopes
        grown, grown_slopes = grown - grown[self.start], grown_slopes - grown_slopes[self.start]
        layout = self.frame.layout
        share = x[layout.share(self.bone)]
        kept = share + x[layout.drift(self.bone)]
        first = alone[self.start]
        short = share * first + kept * grown + self.gains[1] + self.jumps @ x
        short_slopes = share * slopes[self.start] + kept * grown_slopes + self.jumps
        short_slopes[:, layout.share(self.bone)] += first + grown
        short_slopes[:, layout.drift(self.bone)] += grown
        return long, short, long_slopes, short_slopes


def bone_view(frame: Frame, bone: Bone, ages: Sequence[float]) -> BoneView:
    """Return one bone at `ages`, to which the ages of its start and its operations are added."""
    layout = frame.layout
    legs: tuple[Leg, Leg] = ("long", "short")
    steps = [frame.steps_on(leg, bone) for leg in legs]
    keys = np.unique([*ages, frame.starts[bone], *(s.age_years for some in steps for s in some)])
    _, loadings = frame.of.at(keys + frame.shift_years)
    design = np.zeros((len(keys), layout.width))
    design[:, layout.size(bone)] = 1.0
    design[:, layout.departure(bone)] = -loadings
    jumps = np.zeros((len(keys), layout.width))
    for k, step in enumerate(layout.jumps):
        if step.bone == bone:
            jumps[:, layout.jump(k)] = keys > step.age_years
    return BoneView(
        frame=frame,
        bone=bone,
        ages=keys,
        base=np.log(frame.curve.fraction(keys + frame.shift_years)),
        design=design,
        maps=(growth_map(steps[0], frame.shares, keys), growth_map(steps[1], frame.shares, keys)),
        gains=(_gained(steps[0], keys), _gained(steps[1], keys)),
        jumps=jumps,
        start=int(np.searchsorted(keys, frame.starts[bone])),
    )


def _gained(steps: Sequence[Step], ages: Floats) -> Floats:
    # A film of the operation's own day was taken before it.
    return np.array([sum(s.adds_mm for s in steps if s.age_years < age) for age in ages])


@dataclass(frozen=True, slots=True, eq=False)
class Prior:
    """What is known before the visits: precision (n, n) and information vector (n,), linear in the unknowns."""

    precision: Floats
    information: Floats

    def with_row(self, row: Floats, value: float, sd: float) -> Prior:
        """Return the same knowing in addition that `row @ x` is `value`, give or take `sd`."""
        scaled = row / sd
        return Prior(self.precision + np.outer(scaled, scaled), self.information + scaled * (value / sd))


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """Measured values `mm` (m,) with the covariance `noise` (m, m) of their errors, each a sum of bones.

    `long` and `short` hold, per bone, the weights (m, n) of the long and the short leg at the ages of
    the bone's view.
    """

    mm: Floats
    noise: Floats
    long: Mapping[Bone, Floats]
    short: Mapping[Bone, Floats]

    def expected(self, views: Mapping[Bone, BoneView], x: Floats) -> tuple[Floats, Floats]:
        """Return the values (m,) that `x` gives and their slopes (m, width)."""
        total, slopes = np.zeros(len(self.mm)), np.zeros((len(self.mm), len(x)))
        for bone, view in views.items():
            long, short, long_slopes, short_slopes = view.lengths(x)
            total = total + self.long[bone] @ long + self.short[bone] @ short
            slopes = slopes + self.long[bone] @ long_slopes + self.short[bone] @ short_slopes
        return total, slopes


@dataclass(frozen=True, slots=True, eq=False)
class Knowledge:
    """The unknowns given the visits: most likely values `mean` (n,) and `precision` (n, n).

    `unexpected` (m,) says how many standard deviations each measured value lies from what the values before it
    led to expect, `band_mm` (m,) one such standard deviation.
    """

    frame: Frame
    mean: Floats
    precision: Floats
    unexpected: Floats
    band_mm: Floats

    @property
    def root(self) -> Floats:
        """Return a square root (n, n) of the covariance, for draws."""
        result: Floats = np.linalg.inv(np.linalg.cholesky(self.precision)).T
        return result


def condition(frame: Frame, prior: Prior, views: Mapping[Bone, BoneView], seen: Seen, start: Floats) -> Knowledge:
    """Return what the visits say of the unknowns; `start` are values near enough to begin with."""
    x = start
    weight = np.linalg.inv(seen.noise)
    for _ in range(_ROUNDS):
        expected, slopes = seen.expected(views, x)
        weighted = slopes.T @ weight
        precision = prior.precision + weighted @ slopes
        moved = np.linalg.solve(precision, prior.information + weighted @ (seen.mm - expected + slopes @ x))
        settled = float(np.abs(moved - x).max()) < _SETTLED
        x = moved
        if settled:
            break
    expected, slopes = seen.expected(views, x)
    precision = prior.precision + slopes.T @ weight @ slopes
    unexpected, band = _innovations(prior, seen, expected, slopes, x)
    return Knowledge(frame, x, precision, unexpected, band)


def _innovations(prior: Prior, seen: Seen, expected: Floats, slopes: Floats, x: Floats) -> tuple[Floats, Floats]:
    """Return the standardised surprise of each value given those before it, and its standard deviation in mm."""
    before = prior.precision + _FLAT_PRECISION * np.eye(len(x))
    centre = np.linalg.solve(before, prior.information + _FLAT_PRECISION * x)
    spread = slopes @ np.linalg.solve(before, slopes.T) + seen.noise
    root = np.linalg.cholesky(spread)
    surprise = np.linalg.solve(root, seen.mm - expected + slopes @ (x - centre))
    return surprise, np.diag(root)
