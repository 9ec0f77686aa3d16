"""The length of one bone at any age: an anchor, growth since then, and what operations add or take."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pathway.growth.reference_curves import Floats, GrowthCurve
from pathway.growth.surgery import Leg, PlateShares, Step
from pathway.protocol.model import Bone


@dataclass(frozen=True, slots=True, eq=False)
class BoneDraws:
    """Draws (m,) of what decides the length of one bone on both legs.

    `mature_mm` is the mature length of the long bone left alone, `grown` (k, m) the fraction of it that is
    there at each age of `knots`, of which `clock` is what the curve says; `shift_years` how far the curve is
    read ahead of the calendar; `long_mm` at `long_age_years` and `short_mm` at `short_age_years` are the
    anchors; `share_kept` is the short bone's growth over the long one's (1 - inhibition), `loss` the fraction
    of growth that a lengthening takes from it (below 0: it grows faster), `overgrowth_mm` what a broken bone would
    gain, of which `overgrowth_parts` has come `overgrowth_years` after the break. A growth arrest keeps `efficacy` of
    its plates' growth back from `delay_years` after it on; `arrested` has both for those done already, `slowed` the
    loss after lengthenings done already, as the visits since have shown them.
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
    efficacy: Floats
    delay_years: Floats
    arrested: Mapping[Step, tuple[Floats, Floats]]
    slowed: Mapping[Step, Floats]

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
            efficacy=self.efficacy[cut],
            delay_years=self.delay_years[cut],
            arrested={step: (kept[cut], late[cut]) for step, (kept, late) in self.arrested.items()},
            slowed={step: loss[cut] for step, loss in self.slowed.items()},
        )

    def made_by(self, plate: str, plates: PlateShares) -> Floats:
        """Return what a growth plate has made of the bone by each of the knots, fractions of mature length (k, m)."""
        read = self.knots + self.shift_years
        part = plates.between(plate, read[:-1], read[1:]).astype(self.grown.dtype)
        made = np.zeros_like(self.grown)
        np.cumsum(part[:, None] * np.diff(self.grown, axis=0), axis=0, out=made[1:])
        return made

    def own(self, at_knots: Floats, ages: Floats) -> Floats:
        """Return values (m, n) at ages (m, n) of each draw's own from values (k, m) at the knots, straight between."""
        age = np.clip(ages, self.knots[0], self.knots[-1])
        k = np.clip(np.searchsorted(self.knots, age, side="right") - 1, 0, len(self.knots) - 2)
        part = ((age - self.knots[k]) / (self.knots[k + 1] - self.knots[k])).astype(at_knots.dtype)
        draw = np.arange(at_knots.shape[1])[:, None]
        result: Floats = (1 - part) * at_knots[k, draw] + part * at_knots[k + 1, draw]
        return result

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
    plates: PlateShares,
    ages: Floats,
    natural: Floats | None = None,
) -> Floats:
    """Return the fraction of mature length at each age (m, n) with the growth taken out that steps prevented.

    Each lengthening by distraction takes its loss, each step its `slows`, of all growth after it. An arrest takes
    its efficacy of what its plates still make after its delay; one done again takes its part of what the first left.
    `natural` spares working out again what `draws.natural` says at the same ages.
    """
    alone = draws.natural(curve, ages) if natural is None else natural
    events = sorted((s for s in steps if s.leg == leg and s.bone == draws.bone), key=lambda s: s.age_years)
    slower = [s for s in events if s.lengthens or s.slows]
    held = _held(draws, [s for s in events if s.stops], plates)
    if not slower and not held:
        return alone
    taken = [(weight, start, draws.between(made, curve, ages), made) for weight, start, made in held]
    if not slower:
        total = alone.copy()
        for weight, start, made_then, _ in taken:
            total -= weight[:, None] * np.maximum(made_then - start[:, None], 0.0)
        return np.maximum(total, 0.0, out=total)
    starts = np.array([s.age_years for s in slower])
    turns = draws.natural(curve, starts)
    total = np.minimum(alone, turns[:, :1])
    pace: Floats = np.ones_like(draws.loss)
    edges = [draws.between(made, curve, starts) for _, _, _, made in taken]
    for (weight, start, made_then, _), edge in zip(taken, edges, strict=True):
        total = total - weight[:, None] * np.maximum(np.minimum(made_then, edge[:, :1]) - start[:, None], 0.0)
    for k, step in enumerate(slower):
        pace = pace * (1.0 - step.slows) * (1.0 - draws.slowed.get(step, draws.loss) if step.lengthens else 1.0)
        last = k + 1 == len(slower)
        until = alone if last else np.minimum(alone, turns[:, k + 1 : k + 2])
        more = np.maximum(until - turns[:, k : k + 1], 0.0)
        for (weight, start, made_then, _), edge in zip(taken, edges, strict=True):
            begin = np.maximum(edge[:, k : k + 1], start[:, None])
            then = made_then if last else np.minimum(made_then, edge[:, k + 1 : k + 2])
            more = more - weight[:, None] * np.maximum(then - begin, 0.0)
        total = total + pace[:, None] * more
    return total


def _held(draws: BoneDraws, arrests: Sequence[Step], plates: PlateShares) -> list[tuple[Floats, Floats, Floats]]:
    """Return for each plate and arrest: what it keeps back (m,), from what the plate had made (m,), and made (k, m)."""
    found: list[tuple[Floats, Floats, Floats]] = []
    for plate in sorted({plate for step in arrests for plate in step.stops}):
        made, left = draws.made_by(plate, plates), np.ones_like(draws.efficacy)
        for step in arrests:
            if plate in step.stops:
                keeps, late = draws.arrested.get(step, (draws.efficacy, draws.delay_years))
                start = draws.own(made, (step.age_years + late)[:, None])[:, 0]
                found.append((left * keeps, start, made))
                left = left * (1.0 - keeps)
    return found


def lengths(
    draws: BoneDraws,
    curve: GrowthCurve,
    steps: Sequence[Step],
    plates: PlateShares,
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
        there = progress(draws, leg, curve, steps, plates, np.array([anchor_age]))
        start = anchor_mm - scale * there[:, 0]
        grown = progress(draws, leg, curve, steps, plates, ages, natural)
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
