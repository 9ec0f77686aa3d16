"""The leg difference by age as a drawing: the fan without operation, the plan, where it ends, what was measured.

One range is told of the plan: the bar at the end, of the same distribution as its middle and as what is said of it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

from pathway.plan.model import MeasuredPoint, Plan, Quantiles
from pathway.views.drawings.drawing import DEEP, FAINT, INK, PAPER, RULE, SOFT, Drawing, Sheet, text_width_mm
from pathway.views.pictures.curve import Curve, curve
from pathway.views.words.family_terms import cm, month_of, signed
from pathway.views.words.wording import Wording

WIDE_MM, NARROW_MM = 174.0, 92.0
HEIGHT_MM, NARROW_HEIGHT_MM = 54.0, 70.0
LIGHT, DARK = "#e6e2da", "#cbc3b5"
STEPS_CM, MOST_STEPS = (1, 2, 5, 10, 20, 50), 8
PER_YEAR = 24
GUTTER_MM, NARROW_GUTTER_MM = 49.0, 7.0
"""What lies to the right of the ages: the bar at the end, and on a wide sheet the labels."""
BAR_MM = 3.2
"""How far the bar stands beyond the last age."""
LINE_MM, LABEL_GAP_MM, ENDS_MM = 3.7, 2.0, 9.6
Point = tuple[float, float]


class _Frame:
    """Ages in years and lengths in mm to a place on the paper."""

    def __init__(self, ages: Point, lengths: Point, box: tuple[float, float, float, float]) -> None:
        self.ages, self.lengths = ages, lengths
        self.left, self.top, self.right, self.foot = box

    @property
    def per_year(self) -> float:
        return (self.right - self.left) / (self.ages[1] - self.ages[0])

    def x(self, age: float) -> float:
        return self.left + (age - self.ages[0]) * self.per_year

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
    below = ENDS_MM * len(tuple(_ends(plan)))
    height = NARROW_HEIGHT_MM + below if narrow else HEIGHT_MM
    ages = _ages(known)
    frame = _Frame(
        (
            math.floor(min(ages[0], *(p.age_years for p in plan.growth.measured))) if plan.growth.measured else ages[0],
            ages[-1],
        ),
        _lengths(plan, known, ages),
        (9.0, 6.5, width_mm - (NARROW_GUTTER_MM if narrow else GUTTER_MM), height - (15.5 + below if narrow else 13.0)),
    )
    sheet = Sheet()
    _grid(sheet, words, frame)
    _fan(sheet, frame, known, ages)
    if changes_length(plan):
        sheet.run(frame.run(ages, lambda age: known.with_plan(age).p50), DEEP, 0.9)
        _end_bar(sheet, frame, planned_end(plan))
    for point in plan.growth.measured:
        x, y = frame.x(point.age_years), frame.y(point.discrepancy_mm)
        sheet.area([(x - 1.1, y), (x, y - 1.1), (x + 1.1, y), (x, y + 1.1)], INK)
    if plan.growth.measured:
        _measured(sheet, words, frame, known, plan.growth.measured[-1])
    if narrow:
        _labels_below(sheet, plan, words, frame)
    else:
        _labels_beside(sheet, plan, words, frame, height)
    _key(sheet, words, frame, height)
    return sheet.drawing(width_mm, height, words.say("growth.title"), " ".join(_alternative(plan, words)))


def planned_end(plan: Plan) -> Quantiles:
    """Return where the legs end with the plan, as it is told of its course: later steps set anew at every visit.

    Without a policy the projection of the plan as it stands. Raises ValueError where there is no projection.
    """
    course = plan.recommended
    if course is not None and course.residual_mm is not None:
        return course.residual_mm
    if not plan.growth.by_age:
        raise ValueError(f"the plan of {plan.child.id} has no projection")
    return plan.growth.by_age[-1].with_plan_mm


def natural_end(plan: Plan) -> Quantiles:
    """Return where the legs end without an operation to come. Raises ValueError where there is no projection."""
    if plan.growth.at_maturity is None:
        raise ValueError(f"the plan of {plan.child.id} has no projection")
    return plan.growth.at_maturity.discrepancy_mm


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
        values += [natural.p05, natural.p95, planned.p50]
    if changes_length(plan):
        end = planned_end(plan)
        values += [end.p05, end.p95]
    low, high = min(values), max(values)
    step = _step(low, high)
    return math.floor(low / step) * step, math.ceil(high / step) * step


def _step(low: float, high: float) -> float:
    """Return between which lengths lines are drawn; the same for a range and for that range in whole steps."""
    steps = (10.0 * cm for cm in STEPS_CM)
    return next(step for step in steps if math.ceil(high / step) - math.floor(low / step) <= MOST_STEPS)


def _grid(sheet: Sheet, words: Wording, frame: _Frame) -> None:
    low, high = frame.lengths
    step = _step(low, high)
    for k in range(round(low / step), round(high / step) + 1):
        y = frame.y(k * step)
        sheet.line(frame.left, y, frame.right, y, INK if k == 0 else FAINT, 0.35 if k == 0 else 0.25)
        sheet.words(frame.left - 1.5, y + 1, f"{k * step / 10:.0f}", 8, "end", SOFT)
    sheet.words(1.0, 3.2, words.say("growth.axis"), 8, tone=SOFT)
    every = 1 if frame.per_year > 5.5 else 2
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


def _measured(sheet: Sheet, words: Wording, frame: _Frame, known: Curve, last: MeasuredPoint) -> None:
    """Name the last mark: before it where there is room, else above the fan that begins there."""
    x, y, name = frame.x(last.age_years), frame.y(last.discrepancy_mm), words.say("growth.measured")
    wide = text_width_mm(name, 8)
    left = x - wide - 0.5
    if left <= frame.left:
        left = frame.left + 0.5
        ahead = frame.ages[0] + (left + wide - frame.left) / frame.per_year
        y = min(y - 0.7, frame.y(known.natural(ahead).p95))
    sheet.words(left, y - 1.5, name, 8, halo=True)


def _end_bar(sheet: Sheet, frame: _Frame, end: Quantiles) -> None:
    """Draw the range of 90 of 100 as a bar with feet, and the middle as a disc on it: readable in grey."""
    x, low, high = frame.right + BAR_MM, frame.y(end.p05), frame.y(end.p95)
    sheet.line(x, low, x, high, DEEP, 0.7)
    for y in (low, high):
        sheet.line(x - 1.1, y, x + 1.1, y, DEEP, 0.7)
    sheet.disc(x, frame.y(end.p50), 1.2, PAPER, DEEP, 0.7)


def _ends(plan: Plan) -> Iterator[tuple[str, Quantiles, str]]:
    """Yield name of the text, spread and tone of each end."""
    yield "growth.natural", natural_end(plan), SOFT
    if changes_length(plan):
        yield "growth.with_plan", planned_end(plan), DEEP


def _range(spread: Quantiles, words: Wording) -> tuple[str, str]:
    """Return the range of 90 of 100 in two halves, as the text beside the drawing tells it."""
    low, high = signed(spread.p05, words), signed(spread.p95, words)
    return words.say("growth.range_from", low=low), words.say("growth.range_to", high=high)


def _labels_beside(sheet: Sheet, plan: Plan, words: Wording, frame: _Frame, height: float) -> None:
    """Write each end beside its curve, moved apart where they would touch."""
    blocks = [
        (frame.y(spread.p50), words.say(name), (signed(spread.p50, words), *_range(spread, words)), tone)
        for name, spread, tone in _ends(plan)
    ]
    blocks.sort(key=lambda block: block[0])
    high = 4 * LINE_MM
    tops = [y - high / 2 for y, *_ in blocks]
    for k in range(1, len(tops)):
        tops[k] = max(tops[k], tops[k - 1] + high + LABEL_GAP_MM)
    # What would leave the sheet below moves all that stands above it.
    for k in reversed(range(len(tops))):
        tops[k] = max(0.0, min(tops[k], height - 1 - high if k + 1 == len(tops) else tops[k + 1] - high - LABEL_GAP_MM))
    x = frame.right + 2 * BAR_MM
    for top, (_, name, lines, tone) in zip(tops, blocks, strict=True):
        sheet.words(x, top + LINE_MM - 0.6, name, 9, tone=tone, strong=True)
        for number, line in enumerate(lines, start=2):
            sheet.words(x, top + number * LINE_MM - 0.6, line, 8.5 if number == 2 else 8, tone=tone)


def _labels_below(sheet: Sheet, plan: Plan, words: Wording, frame: _Frame) -> None:
    """Write each end below the ages, with the line that it belongs to."""
    y = frame.foot + 13.2
    for name, spread, tone in _ends(plan):
        dashed = name == "growth.natural"
        sheet.line(1.0, y - 1, 7.0, y - 1, tone, 0.5 if dashed else 0.9, "1.6 1.2" if dashed else "")
        sheet.words(9.0, y, f"{words.say(name)}: {signed(spread.p50, words)}", 8.5, tone=tone, strong=True)
        sheet.words(9.0, y + 4.2, " ".join(_range(spread, words)), 8, tone=tone)
        y += ENDS_MM


def _key(sheet: Sheet, words: Wording, frame: _Frame, height: float) -> None:
    x, y = frame.left, height - 1.6
    for tone, name in ((LIGHT, "growth.few"), (DARK, "growth.half")):
        sheet.bar(x, y - 2.4, 4.4, 2.8, tone, RULE)
        sheet.words(x + 5.6, y, words.say(name), 8, tone=SOFT)
        x += 5.6 + text_width_mm(words.say(name), 8) + 3


def _alternative(plan: Plan, words: Wording) -> Iterator[str]:
    yield words.say("growth.title") + "."
    for point in plan.growth.measured:
        yield f"{words.say('growth.measured')}, {month_of(point.date, words)}: {cm(point.discrepancy_mm, words)}."
    for name, spread, _ in _ends(plan):
        yield f"{words.say(name)}: {signed(spread.p50, words)}. {' '.join(_range(spread, words))}."
