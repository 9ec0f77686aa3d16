"""The curve below the lanes: the leg difference by age with its bands, in cm, on the same age axis.

Eighths of a block draw the edges of the bands, Braille dots the medians (four steps a row, two a column).
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from pathway.plan.model import AgePoint, GrowthPart, Plan, Quantiles
from pathway.views.pictures.picture import Axis, Canvas, Role

LOWER_BLOCKS = " ▁▂▃▄▅▆▇█"
SHADES = {Role.BAND90: "░", Role.BAND50: "▒"}
DOTS = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))
STEPS_CM = (1, 2, 5, 10, 20, 50)
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


@dataclass(frozen=True, slots=True)
class Scale:
    """Centimetres against rows: `top_cm` at the upper edge, `bottom_cm` at the lower edge of the rows."""

    top_cm: float
    bottom_cm: float
    step_cm: int
    first_row: int
    rows: int

    def place(self, mm: float) -> float:
        """Return where a length in mm lies, in rows from the top of the picture."""
        share = (self.top_cm - mm / 10) / (self.top_cm - self.bottom_cm)
        return self.first_row + share * self.rows

    def row(self, mm: float) -> int:
        """Return the row of a length in mm, held inside the chart."""
        return max(self.first_row, min(self.first_row + self.rows - 1, int(self.place(mm))))


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


def draw(
    canvas: Canvas, plan: Plan, axis: Axis, top: int, rows: int, goal_mm: tuple[float, float] | None, shaded: bool
) -> None:
    """Draw the chart in `rows` rows from `top` on; `shaded` draws bands as ░▒ for screens without colour."""
    line = curve(plan)
    scale = _scale(plan.growth, line, top, rows)
    if line is not None:
        _bands(canvas, line, axis, scale, shaded)
        low = line.points[0].age_years
        high = line.points[-1].age_years
        _dots(canvas, axis, scale, low, high, line.natural_median, Role.MEDIAN_NATURAL, 2)
        _dots(canvas, axis, scale, low, high, lambda age: line.with_plan(age).p50, Role.MEDIAN, 1)
    for point in plan.growth.measured:
        if axis.from_age <= point.age_years <= axis.to_age:
            canvas.put(scale.row(point.discrepancy_mm), axis.column(point.age_years), MEASURED, Role.MEASURED)
    if line is not None:
        _end_labels(canvas, line, axis, scale)
    _goal(canvas, axis, scale, goal_mm)
    _labels(canvas, axis, scale)


def cm(mm: float) -> str:
    """Return a length as `17.4 cm`, never as minus nought."""
    return f"{round(mm / 10, 1) + 0.0:.1f} cm"


def _scale(growth: GrowthPart, line: Curve | None, top: int, rows: int) -> Scale:
    values = [point.discrepancy_mm for point in growth.measured]
    if line is not None:
        values += [point.discrepancy_mm.p50 for point in line.points]
        values += [point.with_plan_mm.p95 for point in line.points]
        values += [point.with_plan_mm.p05 for point in line.points]
    low, high = min([0.0, *values]) / 10, max([10.0, *values]) / 10
    step = next((s for s in STEPS_CM if (high - low) / s <= rows / 2), STEPS_CM[-1])
    room = (high - low) / max(rows - 1, 1)
    return Scale(high + room, low, step, top, rows)


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


def _columns(line: Curve, axis: Axis) -> Iterator[tuple[int, Quantiles]]:
    low, high = line.points[0].age_years, line.points[-1].age_years
    for column in range(axis.left, axis.right):
        age = axis.age(column + 0.5)
        if low <= age <= high:
            yield column, line.with_plan(age)


def _bands(canvas: Canvas, line: Curve, axis: Axis, scale: Scale, shaded: bool) -> None:
    for column, spread in _columns(line, axis):
        for role, high, low in ((Role.BAND90, spread.p95, spread.p05), (Role.BAND50, spread.p75, spread.p25)):
            _fill(canvas, column, scale, role, scale.place(high), scale.place(low), shaded)


def _fill(canvas: Canvas, column: int, scale: Scale, role: Role, top: float, bottom: float, shaded: bool) -> None:
    for row in range(max(int(top), scale.first_row), min(math.ceil(bottom), scale.first_row + scale.rows)):
        cell = canvas.cell(row, column)
        if cell is None:
            continue
        upper, lower = max(top - row, 0.0), min(bottom - row, 1.0)
        if shaded:
            if lower - upper >= 0.5:
                cell.glyph, cell.role = SHADES[role], role
            continue
        behind = cell.ground or Role.BLANK
        if lower > 15 / 16 and upper >= 1 / 16:
            cell.glyph, cell.role = LOWER_BLOCKS[max(1, round(8 * (1 - upper)))], role
        elif lower <= 15 / 16 and upper < 1 / 16:
            cell.glyph, cell.role, cell.ground = LOWER_BLOCKS[max(1, round(8 * (1 - lower)))], behind, role
        elif lower - upper >= 0.5:
            cell.glyph, cell.role, cell.ground = " ", Role.BLANK, role


def _dots(
    canvas: Canvas,
    axis: Axis,
    scale: Scale,
    low: float,
    high: float,
    value: Callable[[float], float],
    role: Role,
    every: int,
) -> None:
    """Draw a line in Braille dots; `every` 2 leaves every second dot out and so looks thinner."""
    dots: dict[tuple[int, int], int] = {}
    last: int | None = None
    for half in range(2 * axis.left, 2 * axis.right):
        age = axis.age((half + 0.5) / 2)
        if not low <= age <= high:
            continue
        height = int(4 * (scale.place(value(age)) - scale.first_row))
        height = max(0, min(4 * scale.rows - 1, height))
        run = range(min(last, height), max(last, height) + 1) if last is not None and every == 1 else (height,)
        for dot in run if half % every == 0 else ():
            key = (scale.first_row + dot // 4, half // 2)
            dots[key] = dots.get(key, 0) | DOTS[half % 2][dot % 4]
        last = height
    for (row, column), mask in dots.items():
        _dot(canvas, row, column, mask, role)


def _dot(canvas: Canvas, row: int, column: int, mask: int, role: Role) -> None:
    cell = canvas.cell(row, column)
    if cell is None:
        return
    if 0x2800 <= ord(cell.glyph) < 0x2900:
        mask |= ord(cell.glyph) - 0x2800
    elif cell.role in (Role.BAND50, Role.BAND90) and cell.glyph in LOWER_BLOCKS[4:]:
        cell.ground = cell.role
    cell.glyph, cell.role = chr(0x2800 + mask), role


def _goal(canvas: Canvas, axis: Axis, scale: Scale, goal_mm: tuple[float, float] | None) -> None:
    if goal_mm is None:
        return
    row = scale.row(sum(goal_mm) / 2)
    for column in range(axis.left, axis.right):
        canvas.put_if_blank(row, column, "┈", Role.GOAL)
    canvas.put(row, 0, "goal", Role.GOAL)


def _labels(canvas: Canvas, axis: Axis, scale: Scale) -> None:
    first = math.ceil(scale.bottom_cm / scale.step_cm) * scale.step_cm
    for value in range(first, math.floor(scale.top_cm) + 1, scale.step_cm):
        row = scale.row(10 * value)
        text = f"{value} cm" if value + scale.step_cm > scale.top_cm else str(value)
        canvas.put(row, axis.left - 1 - len(text), text, Role.AXIS)


def _end_labels(canvas: Canvas, line: Curve, axis: Axis, scale: Scale) -> None:
    last = min(line.points[-1].age_years, axis.to_age)
    ends = (
        ("without further operations", line.natural_median(last), Role.MEDIAN_NATURAL),
        ("with the plan", line.with_plan(last).p50, Role.MEDIAN),
    )
    if not line.steps and abs(ends[0][1] - ends[1][1]) < 1:
        ends = ((f"{ends[0][0]}", ends[0][1], Role.MEDIAN),)  # type: ignore[assignment]
    for words, mm, role in ends:
        _end_label(canvas, f"{words} {cm(mm)}", scale.row(mm), axis.column(last) + 1, scale, role)


def _end_label(canvas: Canvas, text: str, row: int, right: int, scale: Scale, role: Role) -> None:
    rows = range(scale.first_row, scale.first_row + scale.rows)
    nearest = sorted(rows, key=lambda other: (abs(other - row), other))
    # Where the fans fill the picture a label stands on them rather than not at all, but never on another label.
    for may_stand in (canvas.is_free, canvas.is_wordless):
        for near in nearest:
            if may_stand(near, right - len(text) - 1, right):
                canvas.put(near, right - len(text), text, role)
                return
