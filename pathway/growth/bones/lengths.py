"""The length of one bone at any age: an anchor, growth since then, and what operations add or take."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pathway.growth.reference_curves import Floats, GrowthCurve
from pathway.growth.surgery import Leg, Step
from pathway.protocol.model import Bone


@dataclass(frozen=True, slots=True, eq=False)
class BoneDraws:
    """Draws (m,) of what decides the length of one bone on both legs.

    `mature_mm` is the mature length of the long bone left alone, `grown` (k, m) the fraction of it that is
    there at each age of `knots`, of which `clock` is what the curve says; `shift_years` how far the curve is
    read ahead of the calendar; `long_mm` at `long_age_years` and `short_mm` at `short_age_years` are the
    anchors; `share_kept` is the short bone's growth over the long one's (1 - inhibition), `loss` the fraction
    of growth that a lengthening would take from it, `overgrowth_mm` what a broken bone would gain, of which
    `overgrowth_parts` has come `overgrowth_years` after the break.
    """

    bone: Bone
    mature_mm: Floats
    knots: Floats
    clock: Floats
    grown: Floats
    shift_years: float
    long_age_years: float
    long_mm: Floats
    short_age_years: float
    short_mm: Floats
    share_kept: Floats
    loss: Floats
    overgrowth_mm: Floats
    overgrowth_years: Floats
    overgrowth_parts: Floats

    def one(self, draw: int) -> BoneDraws:
        """Return the same with one draw alone."""
        cut = slice(draw, draw + 1)
        return replace(
            self,
            mature_mm=self.mature_mm[cut],
            grown=self.grown[:, cut],
            long_mm=self.long_mm[cut],
            short_mm=self.short_mm[cut],
            share_kept=self.share_kept[cut],
            loss=self.loss[cut],
            overgrowth_mm=self.overgrowth_mm[cut],
        )

    def overgrown(self, years_since: Floats) -> Floats:
        """Return the part (0 to 1) of the overgrowth that has come so many years after the break."""
        return np.interp(years_since, self.overgrowth_years, self.overgrowth_parts)

    def natural(self, curve: GrowthCurve, ages: Floats) -> Floats:
        """Return the fraction (m, n) of mature length that the long bone left alone has at each age."""
        return self.between(self.grown, curve, ages)

    def between(self, at_knots: Floats, curve: GrowthCurve, ages: Floats) -> Floats:
        """Return values (m, n) at each age from values (k, m) at the knots."""
        result = np.empty((len(ages), at_knots.shape[1]), at_knots.dtype)
        for out, row in zip(result, self.rows(at_knots, curve, ages), strict=True):
            out[:] = row
        return result.T

    def rows(self, at_knots: Floats, curve: GrowthCurve, ages: Floats) -> Iterator[Floats]:
        """Yield values (m,) at one age after the other from values (k, m) at the knots, each in the same array.

        Between two knots a child is as far as the curve is between them, so that nothing ever shrinks. One row
        stays in the processor's cache, which a whole array would not.
        """
        age = np.clip(ages, self.knots[0], self.knots[-1])
        k = np.clip(np.searchsorted(self.knots, age, side="right") - 1, 0, len(self.knots) - 2)
        rise, width = self.clock[k + 1] - self.clock[k], self.knots[k + 1] - self.knots[k]
        by_curve = (curve.fraction(age + self.shift_years) - self.clock[k]) / np.where(rise > 0, rise, 1.0)
        part = np.where(rise > 0, by_curve, (age - self.knots[k]) / width).astype(at_knots.dtype)
        row, step = np.empty((2, at_knots.shape[1]), at_knots.dtype)
        before = -1
        for here, along in zip(k.tolist(), part, strict=True):
            if here != before:
                np.subtract(at_knots[here + 1], at_knots[here], out=step)
                before = here
            np.multiply(step, along, out=row)
            row += at_knots[here]
            yield row


def progress(
    draws: BoneDraws,
    leg: Leg,
    curve: GrowthCurve,
    steps: Sequence[Step],
    shares: Mapping[str, float],
    natural: Floats,
) -> Floats:
    """Return `natural` with the growth taken out that steps on this bone prevented (m, n).

    A growth plate counts once however often it is named; each lengthening by distraction takes `draws.loss`, each step
    its `slows`, of all growth after it.
    """
    events = sorted((s for s in steps if s.leg == leg and s.bone == draws.bone), key=lambda s: s.age_years)
    events = [s for s in events if s.adds_mm or s.stops or s.slows]
    if not events:
        return natural
    starts = draws.natural(curve, np.array([s.age_years for s in events]))
    total = np.minimum(natural, starts[:, :1])
    stopped: set[str] = set()
    pace: Floats = np.ones_like(draws.loss)
    for k, step in enumerate(events):
        stopped.update(step.stops)
        pace = pace * (1.0 - step.slows) * (1.0 - draws.loss if step.adds_mm and step.by_distraction else 1.0)
        open_share = max(1.0 - sum(shares[physis] for physis in stopped), 0.0)
        begin = starts[:, k : k + 1]
        until = natural if k + 1 == len(events) else np.minimum(natural, starts[:, k + 1 : k + 2])
        total = total + (open_share * pace)[:, None] * np.maximum(until - begin, 0.0)
    return total


def lengths(
    draws: BoneDraws,
    curve: GrowthCurve,
    steps: Sequence[Step],
    shares: Mapping[str, float],
    ages: Floats,
) -> tuple[Floats, Floats]:
    """Return the length in mm (m, n) of the long and the short bone at each age.

    Added length counts from the age of its step on; a step on the very day of the anchor counts as later.
    """
    natural = draws.natural(curve, ages)
    result = []
    legs: tuple[tuple[Leg, float, Floats, Floats], ...] = (
        ("long", draws.long_age_years, draws.long_mm, draws.mature_mm),
        ("short", draws.short_age_years, draws.short_mm, draws.mature_mm * draws.share_kept),
    )
    for leg, anchor_age, anchor_mm, scale in legs:
        there = progress(draws, leg, curve, steps, shares, draws.natural(curve, np.array([anchor_age])))
        start = anchor_mm - scale * there[:, 0]
        grown = progress(draws, leg, curve, steps, shares, natural)
        # Large arrays are written over where nobody needs them again: making them costs more than filling them.
        mm = np.multiply(scale[:, None], grown, out=None if leg == "long" and grown is natural else grown)
        mm += start[:, None]
        gain = added(steps, leg, draws.bone, ages) - added_before(steps, leg, draws.bone, anchor_age)
        if gain.any():
            mm += gain.astype(mm.dtype)
        broken = [s for s in steps if s.leg == leg and s.bone == draws.bone and s.overgrows]
        for step in broken:
            done = draws.overgrown(ages - step.age_years) - draws.overgrown(np.array([anchor_age - step.age_years]))
            mm += draws.overgrowth_mm[:, None] * done.astype(mm.dtype)
        result.append(mm if start.min() >= 0 else np.maximum(mm, 0.0, out=mm))
    return result[0], result[1]


def added(steps: Sequence[Step], leg: Leg, bone: Bone, ages: Floats) -> Floats:
    """Return the length in mm that steps have added to a bone by each age (n,)."""
    total = np.zeros(len(ages))
    for step in steps:
        if step.leg == leg and step.bone == bone and step.adds_mm:
            total += np.where(ages >= step.age_years, step.adds_mm, 0.0)
    return total


def added_before(steps: Sequence[Step], leg: Leg, bone: Bone, age: float) -> float:
    """Return the length in mm that steps before an age have added to a bone."""
    return sum(s.adds_mm for s in steps if s.leg == leg and s.bone == bone and s.age_years < age)
