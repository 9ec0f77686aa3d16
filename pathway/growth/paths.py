"""The length of one bone at any age: an anchor, growth since then, and what operations add or take."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pathway.growth.curves import Floats, GrowthCurve
from pathway.growth.steps import Leg, Step
from pathway.protocol.model import Bone


@dataclass(frozen=True, slots=True, eq=False)
class BoneDraws:
    """Draws (m,) of what decides the length of one bone on both legs.

    `mature_mm` is the mature length of the long bone left alone, `shift_years` how far its curve is read
    ahead of the calendar; `long_mm` at `long_age_years` and `short_mm` at `short_age_years` are the anchors;
    `share_kept` is the short bone's growth over the long one's (1 - inhibition), `loss` the fraction of
    growth that a lengthening would take from it.
    """

    bone: Bone
    mature_mm: Floats
    shift_years: Floats
    long_age_years: float
    long_mm: Floats
    short_age_years: float
    short_mm: Floats
    share_kept: Floats
    loss: Floats

    def natural(self, curve: GrowthCurve, ages: Floats) -> Floats:
        """Return the fraction (m, n) of mature length that the long bone left alone has at each age."""
        return curve.fraction(ages[None, :] + self.shift_years[:, None])


def progress(
    draws: BoneDraws,
    leg: Leg,
    curve: GrowthCurve,
    steps: Sequence[Step],
    shares: Mapping[str, float],
    natural: Floats,
) -> Floats:
    """Return `natural` with the growth taken out that steps on this bone prevented (m, n).

    A growth plate counts once however often it is named; each lengthening takes `draws.loss`, each step its
    `slows`, of all growth after it.
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
        pace = pace * (1.0 - step.slows) * (1.0 - draws.loss if step.adds_mm else 1.0)
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
    anchors = np.array([draws.long_age_years, draws.short_age_years])
    natural = draws.natural(curve, np.concatenate((ages, anchors)))
    result = []
    legs: tuple[tuple[Leg, float, Floats, Floats], ...] = (
        ("long", draws.long_age_years, draws.long_mm, draws.mature_mm),
        ("short", draws.short_age_years, draws.short_mm, draws.mature_mm * draws.share_kept),
    )
    for k, (leg, anchor_age, anchor_mm, scale) in enumerate(legs):
        grown = progress(draws, leg, curve, steps, shares, natural)
        start = anchor_mm - scale * grown[:, len(ages) + k]
        mm = start[:, None] + scale[:, None] * grown[:, : len(ages)]
        gain = added(steps, leg, draws.bone, ages) - added_before(steps, leg, draws.bone, anchor_age)
        result.append(np.maximum(mm + gain, 0.0) if gain.any() else np.maximum(mm, 0.0, out=mm))
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
