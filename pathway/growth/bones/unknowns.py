"""Both legs of one child as functions of a few unknowns, and those unknowns given what was measured.

Unknown are, per bone, the log of mature length (free), how the child departs from the curve (standard normals
of the population, correlated between femur and tibia), the share of growth that the short bone keeps and what each
lengthening gained beyond its record; and, each with more than one way to turn out (see `mixture`), how the curve of
this child leans, how far the share of growth lies from the share of length, how much growth a lengthening costs, and
how well and how soon a growth arrest works. Lengths are nearly linear in them, so the most likely values and their
covariance come from a few linear steps.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pathway.growth.bones.mixture import Mixture, Ways, reweighed
from pathway.growth.population import Population
from pathway.growth.reference_curves import Floats, GrowthCurve, Leanings
from pathway.growth.surgery import BONES, Leg, PlateShares, Step
from pathway.protocol.model import Bone

_ROUNDS = 12
_SETTLED = 1e-7
# Stands for "unknown" where a whole covariance is needed: e^±10 in a log, ±10 in a share.
_FLAT_PRECISION = 1e-2
_TURN = 1e-3


@dataclass(frozen=True, slots=True)
class Layout:
    """Where each unknown stands in the vector of unknowns.

    `curves` is the number of ways in which the curve may lean, `arrests` the growth arrests done, `jumps` the steps
    that added length.
    """

    factors: int
    jumps: tuple[Step, ...]
    curves: int = 0
    arrests: tuple[Step, ...] = ()

    @property
    def width(self) -> int:
        """Return the number of unknowns."""
        return self._jumps + len(self.jumps)

    @property
    def _special(self) -> int:
        return 2 + 2 * self.factors + 2

    @property
    def _jumps(self) -> int:
        return self._special + 4 + self.curves + 2 * len(self.arrests)

    @property
    def special(self) -> slice:
        """Return the places of all unknowns that may turn out in more than one way."""
        return slice(self._special, self._jumps)

    def size(self, bone: Bone) -> int:
        """Return the place of the log of mature length in mm."""
        return BONES.index(bone)

    def departure(self, bone: Bone) -> slice:
        """Return the places of the standard normals of a bone."""
        first = 2 + BONES.index(bone) * self.factors
        return slice(first, first + self.factors)

    def share(self, bone: Bone) -> int:
        """Return the place of short over long at the first visit."""
        return 2 + 2 * self.factors + BONES.index(bone)

    def drift(self, bone: Bone) -> int:
        """Return the place of the share of growth less the share of length."""
        return self._special + BONES.index(bone)

    def loss(self, bone: Bone) -> int:
        """Return the place of the part of growth that lengthening this bone costs."""
        return self._special + 2 + BONES.index(bone)

    @property
    def leaning(self) -> slice:
        """Return the places of how far the curve leans beyond the mixed one."""
        return slice(self._special + 4, self._special + 4 + self.curves)

    def efficacy(self, arrest: Step) -> int:
        """Return the place of the part of its plates' growth that an arrest keeps back."""
        return self._special + 4 + self.curves + 2 * self.arrests.index(arrest)

    def delay(self, arrest: Step) -> int:
        """Return the place of the years until an arrest works."""
        return self.efficacy(arrest) + 1

    def jump(self, k: int) -> int:
        """Return the place of what the k-th lengthening gained beyond its record, mm."""
        return self._jumps + k


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """All that is taken as given: the curve and by how many years it is read ahead, population, operations.

    `starts` is the age at which each bone's proportion is defined (its first visit).
    """

    curve: GrowthCurve
    leanings: Leanings
    of: Population
    shift_years: float
    steps: tuple[Step, ...]
    plates: PlateShares
    starts: Mapping[Bone, float]
    layout: Layout

    def steps_on(self, leg: Leg, bone: Bone) -> list[Step]:
        """Return the operations on one bone, oldest first."""
        return sorted((s for s in self.steps if s.leg == leg and s.bone == bone), key=lambda s: s.age_years)

    def design(self, bone: Bone, ages: Floats) -> Floats:
        """Return the slopes (n, width) of the log of a long bone left alone at each age."""
        read = ages + self.shift_years
        design = np.zeros((len(ages), self.layout.width))
        design[:, self.layout.size(bone)] = 1.0
        design[:, self.layout.departure(bone)] = -self.of.at(read)[1]
        design[:, self.layout.leaning] = self.leanings.at(read)
        return design


@dataclass(frozen=True, slots=True, eq=False)
class BoneView:
    """One bone at chosen ages: its lengths in mm and their slopes in the unknowns."""

    frame: Frame
    bone: Bone
    ages: Floats
    base: Floats
    design: Floats
    pace: tuple[Pace, Pace]
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
        long, long_slopes = self.pace[0].slowed(x, alone, slopes)
        long = long + self.gains[0]
        grown, grown_slopes = self.pace[1].slowed(x, alone, slopes)
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
    keys = np.array(sorted({*ages, frame.starts[bone], *(s.age_years for some in steps for s in some)}))
    jumps = np.zeros((len(keys), layout.width))
    for k, step in enumerate(layout.jumps):
        if step.bone == bone:
            jumps[:, layout.jump(k)] = keys > step.age_years
    return BoneView(
        frame=frame,
        bone=bone,
        ages=keys,
        base=np.log(frame.curve.fraction(keys + frame.shift_years)),
        design=frame.design(bone, keys),
        pace=(pace_of(frame, bone, steps[0], keys), pace_of(frame, bone, steps[1], keys)),
        gains=(_gained(steps[0], keys), _gained(steps[1], keys)),
        jumps=jumps,
        start=int(np.searchsorted(keys, frame.starts[bone])),
    )


def _gained(steps: Sequence[Step], ages: Floats) -> Floats:
    # A film of the operation's own day was taken before it.
    return np.array([sum(s.adds_mm for s in steps if s.age_years < age) for age in ages])


@dataclass(frozen=True, slots=True, eq=False)
class Pace:
    """How much of the growth between the ages of a view operations on one leg leave, given the unknowns."""

    frame: Frame
    bone: Bone
    steps: tuple[Step, ...]
    ages: Floats

    def slowed(self, x: Floats, alone: Floats, slopes: Floats) -> tuple[Floats, Floats]:
        """Return lengths (n,) and their slopes (n, width) from those of the bone left alone."""
        if not self.steps:
            return alone, slopes
        kept, turns = self.kept(x), self._turns(x)
        grown, grown_slopes = np.diff(alone), np.diff(slopes, axis=0) * kept[:, None]
        for place, turn in turns.items():
            grown_slopes[:, place] += turn * grown
        start, sum_slopes = alone[:1], np.cumsum(grown_slopes, axis=0)
        return (
            np.concatenate((start, start + np.cumsum(kept * grown))),
            np.concatenate((slopes[:1], slopes[:1] + sum_slopes)),
        )

    def kept(self, x: Floats) -> Floats:
        """Return the part of the growth between each two neighbouring ages that is left (n - 1,)."""
        layout, begin = self.frame.layout, self.ages[:-1]
        pace = np.ones(len(begin))
        for step in self.steps:
            part = (1.0 - step.slows) * (1.0 - x[layout.loss(self.bone)] if step.lengthens else 1.0)
            pace = np.where(begin >= step.age_years, pace * part, pace)
        closed = np.zeros(len(begin))
        arrests = [step for step in self.steps if step.stops]
        for plate in {plate for step in arrests for plate in step.stops}:
            left = np.ones(len(begin))
            whole = self._made(plate, begin, self.ages[1:])
            for step in arrests:
                if plate in step.stops:
                    starts = step.age_years + max(float(x[layout.delay(step)]), 0.0)
                    late = np.clip(starts, begin, self.ages[1:])
                    # Of a plate's growth between two ages, that after the arrest has begun to work.
                    working = self._made(plate, late, self.ages[1:]) / np.maximum(whole, 1e-12)
                    left = left * (1.0 - float(x[layout.efficacy(step)]) * working)
            share = self.frame.plates.between(plate, begin + self.frame.shift_years, self._read_end)
            closed = closed + share * (1.0 - left)
        return pace * (1.0 - closed)

    @property
    def _read_end(self) -> Floats:
        return self.ages[1:] + self.frame.shift_years

    def _made(self, plate: str, begin: Floats, end: Floats) -> Floats:
        shift = self.frame.shift_years
        still = self.frame.plates.still
        return still(plate, begin + shift) - still(plate, end + shift)

    def _turns(self, x: Floats) -> dict[int, Floats]:
        """Return how what is left turns (n - 1,) with each unknown that it depends on."""
        layout = self.frame.layout
        places = [layout.loss(self.bone)] if any(step.lengthens for step in self.steps) else []
        places += [place(step) for step in self.steps if step.stops for place in (layout.efficacy, layout.delay)]
        found: dict[int, Floats] = {}
        for place in places:
            up, down = x.copy(), x.copy()
            up[place] += _TURN
            down[place] -= _TURN
            found[place] = (self.kept(up) - self.kept(down)) / (2 * _TURN)
        return found


def pace_of(frame: Frame, bone: Bone, steps: Sequence[Step], ages: Floats) -> Pace:
    """Return how operations on one leg slow a bone between `ages`, which must hold the age of every step."""
    return Pace(frame, bone, tuple(s for s in steps if s.stops or s.slows or s.lengthens), ages)


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
    """The unknowns given the visits: their `mean` (n,) and `precision` (n, n), as if they were Gaussian.

    Exactly, those at `frame.layout.special` follow `mixture`, and the others, given those, are Gaussian about
    `mean + slope @ (special - its mean)` with the square root `rest` of their covariance; all draws lie `widened` times
    as far from the mean, which is more than once only where the visits surprise. `unexpected` (m,) says how many
    standard deviations each measured value lies from what the values before it led to expect, `band_mm` (m,) one such
    standard deviation.
    """

    frame: Frame
    mean: Floats
    precision: Floats
    mixture: Mixture
    slope: Floats
    rest: Floats
    unexpected: Floats
    band_mm: Floats
    widened: float = 1.0

    def draw(self, z: Floats, u: Floats) -> Floats:
        """Return how far draws (m, n) lie from the mean, from standard normal (m, n) and uniform numbers (m,)."""
        at = self.frame.layout.special
        special = self.mixture.draw(z[:, at], u)
        others = _others(len(self.mean), at)
        result = np.empty_like(z)
        result[:, at] = special
        rest = product(self.rest.astype(z.dtype), z[:, others].T).T
        result[:, others] = rest + special @ self.slope.T.astype(z.dtype)
        result *= z.dtype.type(self.widened)
        return result

    def wider(self, times: float) -> Knowledge:
        """Return the same with draws so many times as far from the mean."""
        return replace(self, widened=self.widened * times, precision=self.precision / times**2)


def _others(width: int, special: slice) -> Floats:
    return np.delete(np.arange(width), special)


_SMALL_PRODUCT = 200_000


def product(matrix: Floats, draws: Floats) -> Floats:
    """Return matrix @ draws in blocks so small that no library splits them among threads.

    The threads would cost more than they save, and the same draws come out however many there are.
    """
    result = np.empty((len(matrix), draws.shape[1]), draws.dtype)
    block = max(_SMALL_PRODUCT // matrix.size, 1)
    for first in range(0, draws.shape[1], block):
        cut = slice(first, first + block)
        np.matmul(matrix, draws[:, cut], out=result[:, cut])
    return result


def condition(
    frame: Frame, prior: Prior, ways: Ways, views: Mapping[Bone, BoneView], seen: Seen, start: Floats
) -> Knowledge:
    """Return what the visits say of the unknowns; `start` are values near enough to begin with.

    `prior` is what is known of the others, `ways` how those at `frame.layout.special` may turn out.
    """
    at = frame.layout.special
    others = _others(len(start), at)
    x, weight = start.copy(), np.linalg.inv(seen.noise)
    x[at] = ways.centre
    mixture = None
    for _ in range(_ROUNDS):
        expected, slopes = seen.expected(views, x)
        weighted = slopes.T @ weight
        precision = prior.precision + weighted @ slopes
        information = prior.information + weighted @ (seen.mm - expected + slopes @ x)
        # The others are taken out: what is left is what the visits say of the special ones alone.
        inner = precision[np.ix_(others, others)]
        solved = np.linalg.solve(inner, np.column_stack((precision[others, at], information[others])))
        slope, centre = -solved[:, :-1], solved[:, -1]
        across = precision[at][:, others]
        mixture = reweighed(ways, precision[at, at] + across @ slope, information[at] - across @ centre)
        moved = np.empty_like(x)
        moved[at] = mixture.centre
        moved[others] = centre + slope @ moved[at]
        settled = float(np.abs(moved - x).max()) < _SETTLED
        x = moved
        if settled:
            break
    assert mixture is not None
    whole = precision.copy()
    whole[at, at] = np.linalg.inv(mixture.covariance) - across @ slope
    rest: Floats = np.linalg.inv(np.linalg.cholesky(inner)).T
    expected, slopes = seen.expected(views, x)
    unexpected, band = _innovations(prior, ways, at, seen, expected, slopes, x)
    return Knowledge(frame, x, whole, mixture, slope, rest, unexpected, band)


def _innovations(
    prior: Prior, ways: Ways, at: slice, seen: Seen, expected: Floats, slopes: Floats, x: Floats
) -> tuple[Floats, Floats]:
    """Return the standardised surprise of each value given those before it, and its standard deviation in mm."""
    before = prior.precision + _FLAT_PRECISION * np.eye(len(x))
    information = prior.information + _FLAT_PRECISION * x
    before[at, at] += np.diag(1 / ways.variance)
    information[at] += ways.centre / ways.variance
    centre = np.linalg.solve(before, information)
    spread = slopes @ np.linalg.solve(before, slopes.T) + seen.noise
    root = np.linalg.cholesky(spread)
    surprise = np.linalg.solve(root, seen.mm - expected + slopes @ (x - centre))
    return surprise, np.diag(root)
