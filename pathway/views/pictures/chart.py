"""The curve of the timeline: the leg difference by age with its bands and the goal, on an age axis.

Eighths of a block draw the edges of the bands, Braille dots the medians (four steps a row, two a column); where a
terminal has no such symbols, half blocks or ASCII do (one step a column).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

from pathway.plan.model import GrowthPart, Plan, Quantiles
from pathway.views.pictures.curve import MEASURED, Curve, curve
from pathway.views.pictures.picture import Axis, Canvas, Role
from pathway.views.pictures.symbols import Symbols
from pathway.views.words.sides import side_words

LOWER_BLOCKS = " ▁▂▃▄▅▆▇█"
SHADES = {Role.BAND90: "░", Role.BAND50: "▒"}
DOTS = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))
STEPS_CM = (1, 2, 5, 10, 20, 50)
ROOMY = 76
"""Columns of the axis from which the ends of the lines are told in full."""


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


def draw(
    canvas: Canvas,
    plan: Plan,
    axis: Axis,
    top: int,
    rows: int,
    goal_mm: tuple[float, float] | None,
    *,
    shaded: bool,
    symbols: Symbols = Symbols.BRAILLE,
) -> None:
    """Draw the chart in `rows` rows from `top` on; `shaded` draws bands as ░▒ for screens without colour."""
    line = curve(plan)
    scale = _scale(plan.growth, line, top, rows)
    if line is not None:
        _bands(canvas, line, axis, scale, shaded or symbols is not Symbols.BRAILLE)
        low = line.points[0].age_years
        high = line.points[-1].age_years
        drawn = _dots if symbols is Symbols.BRAILLE else partial(_cells, symbols)
        drawn(canvas, axis, scale, low, high, line.natural_median, Role.MEDIAN_NATURAL, 2)
        drawn(canvas, axis, scale, low, high, lambda age: line.with_plan(age).p50, Role.MEDIAN, 1)
    for point in plan.growth.measured:
        if axis.from_age <= point.age_years <= axis.to_age:
            canvas.put(scale.row(point.discrepancy_mm), axis.column(point.age_years), MEASURED, Role.MEASURED)
    if line is not None:
        _end_labels(canvas, line, axis, scale)
    _goal(canvas, axis, scale, goal_mm)
    _labels(canvas, axis, scale)


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


def _cells(
    symbols: Symbols,
    canvas: Canvas,
    axis: Axis,
    scale: Scale,
    low: float,
    high: float,
    value: Callable[[float], float],
    role: Role,
    every: int,
) -> None:
    """Draw a line without Braille: half blocks (two steps a row) or ASCII (one step), `every` 2 as single points."""
    steps = 2 if symbols is Symbols.BLOCKS else 1
    last: int | None = None
    for column in range(axis.left, axis.right):
        age = axis.age(column + 0.5)
        if not low <= age <= high:
            continue
        height = int(steps * (scale.place(value(age)) - scale.first_row))
        height = max(0, min(steps * scale.rows - 1, height))
        run = range(min(last, height), max(last, height) + 1) if last is not None and every == 1 else (height,)
        halves: dict[int, set[int]] = {}
        for step in run if column % every == 0 else ():
            halves.setdefault(step // steps, set()).add(step % steps)
        for row, filled in halves.items():
            canvas.put(scale.first_row + row, column, _glyph(symbols, filled, every), role)
        last = height


def _glyph(symbols: Symbols, filled: set[int], every: int) -> str:
    if symbols is Symbols.ASCII:
        return "*" if every == 1 else "o"
    return "•" if every != 1 else "█" if len(filled) == 2 else "▀" if filled == {0} else "▄"


def goal_words(goal_mm: tuple[float, float]) -> str:
    """Return the goal with its value: `goal 0 to 1 cm`."""
    return f"goal {goal_mm[0] / 10:g} to {goal_mm[1] / 10:g} cm"


def _goal(canvas: Canvas, axis: Axis, scale: Scale, goal_mm: tuple[float, float] | None) -> None:
    """Draw the goal as a band with its value, where the chart leaves room for the words."""
    if goal_mm is None:
        return
    words = f" {goal_words(goal_mm)} "
    rows = range(scale.row(goal_mm[1]), scale.row(goal_mm[0]) + 1)
    places = ((row, column) for row in rows for column in range(axis.left + 1, axis.right - len(words)))
    for row, column in places:
        if canvas.is_free(row, column, column + len(words)):
            canvas.put(row, column, words, Role.GOAL)
            break
    for row in rows:
        for column in range(axis.left, axis.right):
            canvas.put_if_blank(row, column, "┈", Role.GOAL)


def _labels(canvas: Canvas, axis: Axis, scale: Scale) -> None:
    """Name the lengths at the left in cm, in words instead of signs: shorter above, longer below equal legs."""
    first = math.ceil(scale.bottom_cm / scale.step_cm) * scale.step_cm
    taken = set()
    for value in range(first, math.floor(scale.top_cm) + 1, scale.step_cm):
        row = scale.row(10 * value)
        text = f"{-value} longer" if value < 0 else "0" if value == 0 else str(value)
        if row == scale.first_row:
            text = f"{value} shorter"
        taken.add(row)
        canvas.put(row, axis.left - 1 - len(text), text, Role.AXIS)
    if scale.first_row not in taken:
        canvas.put(scale.first_row, axis.left - 1 - len("cm shorter"), "cm shorter", Role.AXIS)


def _end_labels(canvas: Canvas, line: Curve, axis: Axis, scale: Scale) -> None:
    last = min(line.points[-1].age_years, axis.to_age)
    without = "without further operations" if axis.right - axis.left >= ROOMY else "no operations"
    natural, planned = line.natural_median(last), line.with_plan(last).p50
    ends = [(without, natural, Role.MEDIAN_NATURAL), ("with the plan", planned, Role.MEDIAN)]
    if not line.steps and abs(natural - planned) < 1:
        ends = [(without, natural, Role.MEDIAN)]
    for words, mm, role in ends:
        text = f"{words} {side_words(mm)}"
        if len(text) > axis.right - axis.left:
            continue  # a curve so small has its ends in the text beside it
        _end_label(canvas, text, scale.row(mm), min(axis.right, axis.column(last) + 1), scale, role)


def _end_label(canvas: Canvas, text: str, row: int, right: int, scale: Scale, role: Role) -> None:
    rows = range(scale.first_row, scale.first_row + scale.rows)
    nearest = sorted(rows, key=lambda other: (abs(other - row), other))
    # Where the fans fill the picture a label stands on them rather than not at all, but never on another label.
    for may_stand in (canvas.is_free, canvas.is_wordless):
        for near in nearest:
            if may_stand(near, right - len(text) - 1, right):
                canvas.put(near, right - len(text), text, role)
                return
