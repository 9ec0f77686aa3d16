"""The leg difference by age as a drawing: fans without operation and with the plan, and what was measured."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

from pathway.plan.model import Plan
from pathway.views.drawings.drawing import DEEP, FAINT, INK, RULE, SOFT, Drawing, Sheet, text_width_mm
from pathway.views.pictures.curve import Curve, curve
from pathway.views.words.family_terms import cm, month_of, signed
from pathway.views.words.wording import Wording

WIDE_MM, NARROW_MM = 174.0, 92.0
HEIGHT_MM, NARROW_HEIGHT_MM = 51.0, 72.0
LIGHT, DARK = "#e6e2da", "#cbc3b5"
STEPS_CM = (1, 2, 5, 10, 20, 50)
PER_YEAR = 24
LABEL_MM = 9.0
BELOW_MM = 5.0
"""What a label under a curve needs before it touches the axis."""
Point = tuple[float, float]


class _Frame:
    """Ages in years and lengths in mm to a place on the paper."""

    def __init__(self, ages: Point, lengths: Point, box: tuple[float, float, float, float]) -> None:
        self.ages, self.lengths = ages, lengths
        self.left, self.top, self.right, self.foot = box

    def x(self, age: float) -> float:
        return self.left + (age - self.ages[0]) / (self.ages[1] - self.ages[0]) * (self.right - self.left)

    def y(self, length_mm: float) -> float:
        low, high = self.lengths
        return self.foot - (length_mm - low) / (high - low) * (self.foot - self.top)

    def run(self, ages: list[float], value: Callable[[float], float]) -> list[Point]:
        return [(self.x(age), self.y(value(age))) for age in ages]


def growth_drawing(plan: Plan, words: Wording, width_mm: float = WIDE_MM) -> Drawing | None:
    """Return the leg difference by age, `width_mm` wide; None where there is no projection."""
    known = curve(plan)
    if known is None:
        return None
    narrow = width_mm < 120
    height = NARROW_HEIGHT_MM if narrow else HEIGHT_MM
    ages = _ages(known)
    frame = _Frame(
        (
            math.floor(min(ages[0], *(p.age_years for p in plan.growth.measured))) if plan.growth.measured else ages[0],
            ages[-1],
        ),
        _lengths(plan, known, ages),
        (9.0, 6.5, width_mm - (2.5 if narrow else 43.0), height - (18.0 if narrow else 13.0)),
    )
    sheet = Sheet()
    _grid(sheet, words, frame)
    _fan(sheet, frame, known, ages)
    if changes_length(plan):
        _with_plan(sheet, frame, known, ages)
    for point in plan.growth.measured:
        x, y = frame.x(point.age_years), frame.y(point.discrepancy_mm)
        sheet.area([(x - 1.1, y), (x, y - 1.1), (x + 1.1, y), (x, y + 1.1)], INK)
    _labels(sheet, plan, words, frame, known, narrow)
    _key(sheet, words, frame, height, narrow)
    return sheet.drawing(width_mm, height, words.say("growth.title"), " ".join(_alternative(plan, words)))


def changes_length(plan: Plan) -> bool:
    """Return whether the recommended course takes anything off the difference."""
    return plan.recommended is not None and any(stage.amount_mm for stage in plan.recommended.stages)


def _ages(known: Curve) -> list[float]:
    first, last = known.points[0].age_years, known.points[-1].age_years
    count = max(2, math.ceil((last - first) * PER_YEAR))
    even = [first + (last - first) * k / count for k in range(count + 1)]
    return sorted({*even, *(s for s in known.steps), *(s - 1e-6 for s in known.steps if s > first)})


def _lengths(plan: Plan, known: Curve, ages: list[float]) -> Point:
    values = [0.0, *(p.discrepancy_mm for p in plan.growth.measured)]
    for age in ages:
        natural, planned = known.natural(age), known.with_plan(age)
        values += [natural.p05, natural.p95, planned.p05, planned.p95]
    low, high = min(values), max(values)
    step = _step(low, high)
    return math.floor(low / step) * step, math.ceil(high / step) * step


def _step(low: float, high: float) -> float:
    return next(10.0 * cm for cm in STEPS_CM if (high - low) / (10 * cm) <= 7)


def _grid(sheet: Sheet, words: Wording, frame: _Frame) -> None:
    low, high = frame.lengths
    step = _step(low, high)
    for k in range(round(low / step), round(high / step) + 1):
        y = frame.y(k * step)
        sheet.line(frame.left, y, frame.right, y, INK if k == 0 else FAINT, 0.35 if k == 0 else 0.25)
        sheet.words(frame.left - 1.5, y + 1, f"{k * step / 10:.0f}", 8, "end", SOFT)
    sheet.words(1.0, 3.2, words.say("growth.axis"), 8, tone=SOFT)
    every = 1 if (frame.right - frame.left) / (frame.ages[1] - frame.ages[0]) > 5.5 else 2
    for age in range(math.ceil(frame.ages[0]), math.floor(frame.ages[1]) + 1):
        if age % every == 0:
            x = frame.x(age)
            sheet.line(x, frame.foot, x, frame.foot + 0.9, SOFT, 0.25)
            sheet.words(x, frame.foot + 4.2, str(age), 8, "middle", SOFT)
    sheet.words((frame.left + frame.right) / 2, frame.foot + 7.8, words.say("timeline.age_axis"), 8, "middle", SOFT)


def _fan(sheet: Sheet, frame: _Frame, known: Curve, ages: list[float]) -> None:
    light = frame.run(ages, lambda age: known.natural(age).p95)
    light += frame.run(ages[::-1], lambda age: known.natural(age).p05)
    sheet.area(light, LIGHT)
    dark = frame.run(ages, lambda age: known.natural(age).p75)
    dark += frame.run(ages[::-1], lambda age: known.natural(age).p25)
    sheet.area(dark, DARK)
    sheet.run(frame.run(ages, known.natural_median), SOFT, 0.5, "1.6 1.2")


def _with_plan(sheet: Sheet, frame: _Frame, known: Curve, ages: list[float]) -> None:
    """Draw the plan as upright hatching between its 5 and 95 of 100 and a firm line: readable over any grey."""
    x, gap = frame.left, 1.5
    while x < frame.right:
        age = frame.ages[0] + (x - frame.left) / (frame.right - frame.left) * (frame.ages[1] - frame.ages[0])
        if age >= ages[0]:
            spread = known.with_plan(age)
            sheet.line(x, frame.y(spread.p95), x, frame.y(spread.p05), DEEP, 0.28)
        x += gap
    sheet.run(frame.run(ages, lambda age: known.with_plan(age).p50), DEEP, 0.9)


def _labels(sheet: Sheet, plan: Plan, words: Wording, frame: _Frame, known: Curve, narrow: bool) -> None:
    last, at, course = known.points[-1], plan.growth.at_maturity, plan.recommended
    natural = at.discrepancy_mm if at is not None else last.discrepancy_mm
    left_mm = course.median_residual_mm if course and course.residual_mm else last.with_plan_mm.p50
    ends = [(natural.p50, words.say("growth.natural"), SOFT)]
    places = [frame.y(natural.p95 if narrow else natural.p50)]
    if changes_length(plan):
        ends.append((left_mm, words.say("growth.with_plan"), DEEP))
        below = frame.y(last.with_plan_mm.p05) + BELOW_MM
        over = frame.y(last.with_plan_mm.p95)
        places.append((below if below < frame.foot else over) if narrow else frame.y(left_mm))
        if abs(places[0] - places[1]) < LABEL_MM:
            places[1] = places[0] + LABEL_MM
    for (value, name, tone), y in zip(ends, places, strict=True):
        if narrow:
            sheet.words(
                frame.right - 1, y - 1.4, f"{name}: {signed(value, words)}", 8.5, "end", tone, strong=True, halo=True
            )
        else:
            sheet.words(frame.right + 2, y - 0.4, name, 9, tone=tone, strong=True)
            sheet.words(frame.right + 2, y + 3.4, signed(value, words), 8.5, tone=tone)
    if plan.growth.measured:
        point, name = plan.growth.measured[-1], words.say("growth.measured")
        left = max(frame.left + 1, frame.x(point.age_years) - text_width_mm(name, 8) - 0.5)
        sheet.words(left, frame.y(point.discrepancy_mm) - 2.2, name, 8, halo=True)


def _key(sheet: Sheet, words: Wording, frame: _Frame, height: float, narrow: bool) -> None:
    x, y = frame.left, height - (6.2 if narrow else 1.6)
    for tone, name in ((LIGHT, "growth.few"), (DARK, "growth.half")):
        sheet.bar(x, y - 2.4, 4.4, 2.8, tone, RULE)
        sheet.words(x + 5.6, y, words.say(name), 8, tone=SOFT)
        x, y = (x, y + 4.8) if narrow else (x + 48, y)


def _alternative(plan: Plan, words: Wording) -> Iterator[str]:
    yield words.say("growth.title") + "."
    for point in plan.growth.measured:
        yield f"{words.say('growth.measured')}, {month_of(point.date, words)}: {cm(point.discrepancy_mm, words)}."
    last, at = plan.growth.by_age[-1], plan.growth.at_maturity
    spreads = [("growth.natural", last.discrepancy_mm if at is None else at.discrepancy_mm)]
    if changes_length(plan):
        spreads.append(("growth.with_plan", last.with_plan_mm))
    for name, spread in spreads:
        low, high = signed(spread.p05, words), signed(spread.p95, words)
        yield f"{words.say(name)}: {signed(spread.p50, words)} ({low} … {high})."
