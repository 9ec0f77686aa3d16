"""The end as a small distribution: the difference at maturity where later steps are set anew at every visit."""

from __future__ import annotations

import math

from pathway.plan.model import Plan, Quantiles
from pathway.views.pictures.picture import Canvas, Role
from pathway.views.words.sides import in_brackets, side_words

ROWS = 5
LEAST_WIDTH = 27
OUTER, INNER, MIDDLE = "░", "▒", "█"
_STEP_MM = 10.0


def draw_ends(canvas: Canvas, plan: Plan, left: int, width: int, top: int, goal_mm: tuple[float, float] | None) -> int:
    """Draw what is left at maturity in `ROWS` rows from `top` on; return the row after, `top` where nothing is told."""
    course = plan.recommended
    spread = None if course is None else course.residual_mm
    if course is None or spread is None or width < LEAST_WIDTH:
        return top
    canvas.put(top, left, "At maturity, steps set anew", Role.LANE_LABEL)
    low, high = _bounds(spread, goal_mm)
    for offset in range(width):
        mm = low + (offset + 0.5) / width * (high - low)
        glyph, role = _cell(mm, spread, goal_mm, (high - low) / width)
        canvas.put(top + 1, left + offset, glyph, role)
    _names(canvas, top + 2, left, width, low, high)
    canvas.put(top + 3, left, f"{side_words(spread.p50)}; 90 of 100:", Role.TEXT)
    canvas.put(top + 4, left, in_brackets(spread.p05, spread.p95), Role.TEXT)
    return top + ROWS


def _bounds(spread: Quantiles, goal_mm: tuple[float, float] | None) -> tuple[float, float]:
    """Return the ends of the scale in mm, longer legs at the left: whole cm around the range and equal legs."""
    values = [spread.p05, spread.p95, 0.0, *(goal_mm or ())]
    low = math.floor(min(values) / _STEP_MM) * _STEP_MM
    high = math.ceil(max(values) / _STEP_MM) * _STEP_MM
    return low, max(high, low + _STEP_MM)


def _cell(mm: float, spread: Quantiles, goal_mm: tuple[float, float] | None, width_mm: float) -> tuple[str, Role]:
    if abs(mm - spread.p50) <= width_mm / 2:
        return MIDDLE, Role.MEDIAN
    if spread.p25 <= mm <= spread.p75:
        return INNER, Role.MEDIAN
    if spread.p05 <= mm <= spread.p95:
        return OUTER, Role.MEDIAN
    if goal_mm is not None and goal_mm[0] <= mm <= goal_mm[1]:
        return "┈", Role.GOAL
    return "─", Role.AXIS


def _names(canvas: Canvas, row: int, left: int, width: int, low: float, high: float) -> None:
    """Name both ends of the scale and equal legs, in cm and words."""
    first = f"{-low / 10:.0f} longer" if low < 0 else "equal"
    last = f"{high / 10:.0f} cm shorter" if high > 0 else "equal"
    canvas.put(row, left, first, Role.AXIS)
    canvas.put(row, left + width - len(last), last, Role.AXIS)
    equal = left + min(width - 1, int(width * -low / (high - low)))
    if low < 0 < high and canvas.is_free(row, equal - 1, equal + 2):
        canvas.put(row, equal, "0", Role.AXIS)
