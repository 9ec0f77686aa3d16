"""How much the next visit would narrow the band at maturity: whether it pays to measure again first."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pathway.growth.bones.unknowns import BoneView, Knowledge, bone_view
from pathway.growth.posterior import Posterior
from pathway.growth.reference_curves import Floats
from pathway.growth.surgery import BONES
from pathway.protocol.model import Bone

_HALF_OF_90 = 1.645


@dataclass(frozen=True, slots=True)
class Narrowing:
    """Width of the 90 % band of the discrepancy at maturity in mm: now, and after one more visit.

    `months` is the time until that visit, `sentence` says it in words.
    """

    months: float
    now_mm: float
    then_mm: float
    sentence: str

    @property
    def share(self) -> float:
        """Return by what share (0 to 1) of its width the band would narrow."""
        return 1 - self.then_mm / self.now_mm if self.now_mm > 0 else 0.0

    @property
    def moves_mm(self) -> float:
        """Return by how much (SD) that visit would move the prediction."""
        return math.sqrt(max(self.now_mm**2 - self.then_mm**2, 0.0)) / (2 * _HALF_OF_90)


def narrowing(posterior: Posterior, months: float) -> Narrowing:
    """Return what a visit with all four bones in so many months would add, whatever it will show.

    Linear about the central child, with the error of a film (`Posterior.film_sd_mm`); what no visit can say
    (how growth changes later) stays. Raises ValueError for months below 0 or a posterior that is only central.
    """
    if months < 0:
        raise ValueError(f"the next visit cannot lie in the past, found {months:g} months")
    if posterior.known is None:
        raise ValueError("only a posterior fitted to visits can be narrowed")
    knowledge, age = posterior.known, posterior.age_years + months / 12
    grown_up = max(posterior.mature_age_years + 4, age)
    views = {bone: bone_view(knowledge.frame, bone, [age, grown_up]) for bone in BONES}
    slope = _discrepancy_slope(views, knowledge, grown_up)
    rest = posterior.later_variance_mm2
    after = knowledge.precision.copy()
    for view in views.values():
        _, _, long, short = view.lengths(knowledge.mean)
        at = view.places([age])[0]
        rows = np.array([long[at], short[at]]) / posterior.film_sd_mm
        after += rows.T @ rows
    now, then = (
        2 * _HALF_OF_90 * float(np.sqrt(slope @ np.linalg.solve(precision, slope) + rest))
        for precision in (knowledge.precision, after)
    )
    text = f"A film in {months:g} months would narrow the 90 % band at maturity from {now:.0f} to {then:.0f} mm."
    return Narrowing(months, now, min(then, now), text)


def _discrepancy_slope(views: dict[Bone, BoneView], knowledge: Knowledge, age: float) -> Floats:
    total: Floats = np.zeros(knowledge.frame.layout.width)
    for view in views.values():
        _, _, long, short = view.lengths(knowledge.mean)
        at = view.places([age])[0]
        total = total + long[at] - short[at]
    return total
