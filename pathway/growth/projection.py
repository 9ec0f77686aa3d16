"""The lengths of all four bones over the years to come, as draws."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Literal

import numpy as np
import numpy.typing as npt

from pathway.growth.bones.lengths import lengths
from pathway.growth.posterior import Posterior
from pathway.growth.reference_curves import Floats
from pathway.growth.surgery import BONES, PHYSES, Leg, Step
from pathway.protocol.model import Bone

What = Literal["discrepancy", "long_leg", "short_leg", "long_femur", "long_tibia", "short_femur", "short_tibia"]

_STEPS_A_YEAR = 4


class Outlook:
    """Bone lengths in mm (m, n): m draws at the n ages of `age_years`, which rise.

    Each quantity is worked out when it is first asked for. `mature_age_years` is the central end of growth;
    `at_maturity` reads the lengths at an age at which every draw has stopped growing.
    """

    def __init__(self, posterior: Posterior, steps: tuple[Step, ...], ages: Floats) -> None:
        self.age_years, self.mature_age_years = ages, posterior.mature_age_years
        self._posterior, self._steps = posterior, steps
        self._bones: dict[Bone, tuple[Floats, Floats]] = {}
        self._grown: Outlook | None = None

    def _bone(self, bone: Bone) -> tuple[Floats, Floats]:
        if bone not in self._bones:
            of = self._posterior
            self._bones[bone] = lengths(of.bones[bone], of.curve, self._steps, of.plates, self.age_years)
        return self._bones[bone]

    @property
    def long_femur_mm(self) -> Floats:
        """Return the femur of the long leg, mm (m, n)."""
        return self._bone("femur")[0]

    @property
    def long_tibia_mm(self) -> Floats:
        """Return the tibia of the long leg, mm (m, n)."""
        return self._bone("tibia")[0]

    @property
    def short_femur_mm(self) -> Floats:
        """Return the femur of the short leg, mm (m, n)."""
        return self._bone("femur")[1]

    @property
    def short_tibia_mm(self) -> Floats:
        """Return the tibia of the short leg, mm (m, n)."""
        return self._bone("tibia")[1]

    @property
    def long_leg_mm(self) -> Floats:
        """Return femur + tibia of the long leg, mm (m, n)."""
        return self.long_femur_mm + self.long_tibia_mm

    @property
    def short_leg_mm(self) -> Floats:
        """Return femur + tibia of the short leg, mm (m, n)."""
        return self.short_femur_mm + self.short_tibia_mm

    @property
    def discrepancy_mm(self) -> Floats:
        """Return long leg minus short leg, mm (m, n); negative where the treated leg is longer."""
        at_knots = self._left_alone()
        if at_knots is None:
            return self.long_leg_mm - self.short_leg_mm
        return np.array([row.copy() for row in self._rows(at_knots)]).T

    def _rows(self, at_knots: Floats) -> Iterator[Floats]:
        of = self._posterior
        return of.bones["femur"].rows(at_knots, of.curve, self.age_years)

    def _left_alone(self) -> Floats | None:
        """Return the discrepancy (k, m) at the knots without any operation, or None where that does not hold.

        Both bones share their knots, and the difference is a sum of their growth: it is added up there.
        """
        anchors = [draws.short_age_years for draws in self._posterior.bones.values()]
        # Before the last film a length could come out below 0 and is held there, which is no sum.
        if self._steps or self._bones or self.age_years[0] < max(anchors):
            return None
        at_knots: Floats | None = None
        for draws in self._posterior.bones.values():
            here = int(np.searchsorted(draws.knots, draws.long_age_years))
            kept = draws.mature_mm * draws.share_kept
            lost = draws.mature_mm - kept
            mm = lost * draws.grown
            mm += draws.long_mm - draws.short_mm - mm[here]
            at_knots = mm if at_knots is None else np.add(at_knots, mm, out=at_knots)
        return at_knots

    def lengths(self, what: What = "discrepancy") -> Floats:
        """Return the draws of one quantity, mm (m, n); raises AttributeError for an unknown name."""
        value: Floats = getattr(self, f"{what}_mm")
        return value

    def bands(self, q: float | Sequence[float], what: What = "discrepancy") -> Floats:
        """Return quantiles (len(q), n) of one quantity at each age, mm; `q` from 0 to 1."""
        at_knots = self._left_alone() if what == "discrepancy" else None
        draws = self._posterior.draws
        at = np.atleast_1d(np.asarray(q, float)) * (draws - 1)
        below = np.floor(at).astype(int)
        places = np.concatenate((below, np.minimum(below + 1, draws - 1)))
        picked = np.empty((len(self.age_years), len(places)), np.float32)
        rows: Iterable[Floats] = self.lengths(what).T if at_knots is None else self._rows(at_knots)
        for k, row in enumerate(rows):
            # Sorting in single precision is several times faster than a quantile and exact to 0.0001 mm.
            mm = row.astype(np.float32, copy=at_knots is None)
            mm.sort()
            mm.take(places, out=picked[k], mode="clip")
        low, high = picked[:, : len(at)].T.astype(float), picked[:, len(at) :].T
        result: Floats = low + (at - below)[:, None] * (high - low)
        return result if np.ndim(q) else result[0]

    def at(self, age: float, what: What = "discrepancy") -> Floats:
        """Return the draws (m,) of one quantity at an age, mm: straight between the ages of the outlook.

        Before the first and after the last age of the outlook the nearest one counts.
        """
        mm = self.lengths(what)
        k = int(np.clip(np.searchsorted(self.age_years, age, side="right") - 1, 0, len(self.age_years) - 1))
        if k + 1 == len(self.age_years) or age <= self.age_years[k]:
            return mm[:, k]
        part = (age - self.age_years[k]) / (self.age_years[k + 1] - self.age_years[k])
        result: Floats = mm[:, k] + part * (mm[:, k + 1] - mm[:, k])
        return result

    def at_maturity(self, what: What = "discrepancy") -> Floats:
        """Return the draws (m,) of one quantity when growth has ended in every draw, mm."""
        if self._grown is None:
            knots = [float(self._posterior.bones[bone].knots[-1]) for bone in BONES]
            # An operation after the last film may end later than growth left alone.
            last = max([*knots, float(self.age_years[-1]), *(step.age_years for step in self._steps)])
            # Overgrowth after a break takes years too.
            last += max(float(self._posterior.bones[bone].overgrowth_years[-1]) for bone in BONES) + 1 / 12
            self._grown = Outlook(self._posterior, self._steps, np.array([last]))
        return self._grown.lengths(what)[:, -1]

    def chance_above(self, mm: float, age: float | None = None) -> float:
        """Return the share of draws (0 to 1) whose discrepancy exceeds `mm` at an age (None: at maturity)."""
        draws = self.at_maturity() if age is None else self.at(age)
        return float((draws > mm).mean())


def outlook(posterior: Posterior, steps: Sequence[Step] = (), ages: npt.ArrayLike | None = None) -> Outlook:
    """Return the lengths at `ages` with further `steps` (those already done are in the posterior).

    Without `ages`: every quarter year from the day of the projection to the central end of growth.
    """
    when = _default_ages(posterior) if ages is None else np.atleast_1d(np.asarray(ages, float))
    return Outlook(posterior, (*posterior.known_steps, *steps), when)


def _default_ages(posterior: Posterior) -> Floats:
    start, end = posterior.age_years, posterior.mature_age_years
    if start >= end:
        return np.array([start])
    return np.append(np.arange(start, end - 1e-6, 1 / _STEPS_A_YEAR), end)


def arrest_takes(posterior: Posterior, plate: str, ages: npt.ArrayLike) -> Floats:
    """Return what an arrest of one growth plate of the long leg at each age would keep back, mm (m, n).

    Each draw has its own efficacy and its own time until the arrest works.
    """
    draws, when = posterior.bones[PHYSES[plate]], np.atleast_1d(np.asarray(ages, float))
    made = draws.made_by(plate, posterior.plates)
    begins = draws.own(made, when[None, :] + draws.delay_years[:, None])
    result: Floats = (draws.mature_mm * draws.efficacy)[:, None] * np.maximum(made[-1][:, None] - begins, 0.0)
    return result


def made_by_plate(posterior: Posterior, plate: str, leg: Leg, ages: npt.ArrayLike) -> Floats:
    """Return what one growth plate adds to its bone between the first of some ages and each of them, mm (m, n)."""
    when, shift = np.atleast_1d(np.asarray(ages, float)), posterior.bones[PHYSES[plate]].shift_years
    what: What = f"{leg}_{PHYSES[plate]}"  # type: ignore[assignment]
    grown = np.diff(outlook(posterior, (), when).lengths(what), axis=1)
    part = posterior.plates.between(plate, when[:-1] + shift, when[1:] + shift)
    result = np.zeros((len(grown), len(when)), grown.dtype)
    np.cumsum(np.maximum(grown, 0.0) * part, axis=1, out=result[:, 1:])
    return result
