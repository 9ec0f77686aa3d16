"""The leg difference by age as a table: what the curve of the timeline draws, for those who read it."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.days import age_on
from pathway.plan.growth import AgePoint
from pathway.plan.model import Plan, Quantiles
from pathway.views.words.wrapping import wrap

WITHOUT, WITH_PLAN = "without further operations", "with the plan"
FOR_BOTH = 90
_EVERY = 4
_HEAD = f"{'median':>6}  {'50 of 100':>12}  {'90 of 100':>12}"


def curve_rows(plan: Plan) -> tuple[AgePoint, ...]:
    """Return the ages that the table shows: every fourth of the projection (a year apart) and the last."""
    points = plan.growth.by_age
    return tuple(point for place, point in enumerate(points) if place % _EVERY == 0 or place == len(points) - 1)


def curve_table(plan: Plan, width: int) -> Iterator[str]:
    """Yield the table in cm: age, day, median, the ranges of 50 and of 90 of 100 children like this one.

    Both courses stand side by side where there is width for them, else below each other; nothing where there is
    no projection.
    """
    rows = curve_rows(plan)
    if not rows:
        return
    head = "Leg difference by age in cm (minus: the treated leg is longer), "
    yield from wrap(f"{head}with the ranges of 50 and 90 of 100 children like this one", width)
    if width >= FOR_BOTH:
        yield f"  {'':21}  {WITHOUT:<34}  {WITH_PLAN}"
        yield f"  {'age':<9}  {'day':<10}  {_HEAD}  {_HEAD}"
        for point in rows:
            yield f"  {_when(plan, point)}  {_spread(point.discrepancy_mm)}  {_spread(point.with_plan_mm)}"
        return
    for words, with_plan in ((WITHOUT, False), (WITH_PLAN, True)):
        yield f"  {words}"
        yield f"  {'age':<9}  {'day':<10}  {_HEAD}"
        for point in rows:
            yield f"  {_when(plan, point)}  {_spread(point.with_plan_mm if with_plan else point.discrepancy_mm)}"


def _when(plan: Plan, point: AgePoint) -> str:
    return f"{age_on(plan.child.date_of_birth, point.date):<9}  {point.date}"


def _spread(spread: Quantiles) -> str:
    inner, outer = _range(spread.p25, spread.p75), _range(spread.p05, spread.p95)
    return f"{_cm(spread.p50):>6}  {inner:>12}  {outer:>12}"


def _range(low: float, high: float) -> str:
    return f"{_cm(low)} to {_cm(high)}"


def _cm(mm: float) -> str:
    return f"{round(mm / 10, 1) + 0.0:.1f}"
