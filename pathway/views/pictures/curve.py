"""The leg difference by age as functions of age: what a plan projects, with its steps where bones are lengthened."""

from __future__ import annotations

import bisect
from collections.abc import Sequence
from dataclasses import dataclass

from pathway.plan.model import AgePoint, Plan, Quantiles

MEASURED = "■"


@dataclass(frozen=True, slots=True)
class Curve:
    """The projection as functions of age: values between the points, with steps where bones are lengthened."""

    points: tuple[AgePoint, ...]
    gains: tuple[tuple[float, float], ...]
    """Age in years and amount in mm of each lengthening, in order."""

    @property
    def steps(self) -> tuple[float, ...]:
        """Return the ages of the lengthenings."""
        return tuple(age for age, _ in self.gains)

    def natural_median(self, age: float) -> float:
        """Return the median difference in mm at an age without further operations."""
        before, after, share = self._around(age)
        first, last = before.discrepancy_mm.p50, after.discrepancy_mm.p50
        return first + share * (last - first)

    def natural(self, age: float) -> Quantiles:
        """Return the difference in mm at an age without further operations."""
        before, after, share = self._around(age)
        return _mixed(before.discrepancy_mm, after.discrepancy_mm, share)

    def with_plan(self, age: float) -> Quantiles:
        """Return the difference in mm at an age with the plan; it jumps at the age of a lengthening."""
        before, after, share = self._around(age)
        between = [(at, mm) for at, mm in self.gains if before.age_years < at <= after.age_years]
        if not between:
            return _mixed(before.with_plan_mm, after.with_plan_mm, share)
        ungained = _moved(after.with_plan_mm, sum(mm for _, mm in between))
        return _moved(_mixed(before.with_plan_mm, ungained, share), -sum(mm for at, mm in between if at <= age))

    def _around(self, age: float) -> tuple[AgePoint, AgePoint, float]:
        place = bisect.bisect_left(self.points, age, key=lambda point: point.age_years)
        if place >= len(self.points):
            return self.points[-1], self.points[-1], 1.0
        before, after = self.points[max(place - 1, 0)], self.points[place]
        width = after.age_years - before.age_years
        return before, after, max(0.0, (age - before.age_years) / width) if width else 1.0


def curve(plan: Plan) -> Curve | None:
    """Return the projection of a plan, or None where nothing was measured to project from."""
    growth = plan.growth
    if growth.at_maturity is None or not growth.by_age:
        return None
    course = plan.recommended
    # The table counts a gain from the age of the course on; the day of the operation may lie some days later. What
    # closes growth plates bends the curve and is no step.
    gains = [(s.age_years, s.amount_mm) for s in course.stages if s.amount_mm and not s.physes] if course else []
    return Curve(growth.by_age, tuple(sorted(gains)))


def cm(mm: float) -> str:
    """Return a length as `17.4 cm`, never as minus nought."""
    return f"{round(mm / 10, 1) + 0.0:.1f} cm"


def _mixed(first: Quantiles, second: Quantiles, share: float) -> Quantiles:
    pairs = zip(_five(first), _five(second), strict=True)
    return _quantiles([a + share * (b - a) for a, b in pairs])


def _moved(spread: Quantiles, by_mm: float) -> Quantiles:
    return _quantiles([value + by_mm for value in _five(spread)])


def _five(spread: Quantiles) -> tuple[float, float, float, float, float]:
    return spread.p05, spread.p25, spread.p50, spread.p75, spread.p95


def _quantiles(five: Sequence[float]) -> Quantiles:
    p05, p25, p50, p75, p95 = five
    return Quantiles.model_construct(p05=p05, p25=p25, p50=p50, p75=p75, p95=p95)
