"""The ways to the goal as small multiples: each on one small age axis, with the operations finally needed."""

from __future__ import annotations

import math
from collections import Counter

from pathway.plan.model import Course, Plan
from pathway.preferences import PROSTHETIC_COURSE
from pathway.views.pictures.picture import Axis, Canvas, Role
from pathway.views.words.expected import NO_VALUE, cells

LEAST_WIDTH = 27
ROWS_OF_WAY = 2
FIRST = "▶"
ARREST, LENGTHENING, OTHER = "▼", "━", "◆"


def draw_ways(canvas: Canvas, plan: Plan, left: int, width: int, top: int, rows: int) -> int:
    """Draw as many ways as `rows` hold, that of the plan first; return the row after. What has no room is counted."""
    courses = sorted(plan.alternatives, key=lambda course: not course.recommended)
    if not courses or width < LEAST_WIDTH or rows < 1 + ROWS_OF_WAY:
        return top
    canvas.put(top, left, "Ways", Role.LANE_LABEL)
    words = "operations"
    canvas.put(top, left + width - len(words), words, Role.AXIS)
    fits = (rows - 1) // ROWS_OF_WAY
    if len(courses) > fits:
        fits = (rows - 2) // ROWS_OF_WAY
    at = top + 1
    for course in courses[:fits]:
        _draw_way(canvas, plan, course, left, width, at)
        at += ROWS_OF_WAY
    if len(courses) > fits:
        canvas.put(at, left, f"{len(courses) - fits} more: c", Role.LEGEND)
        at += 1
    elif len(courses) == 1:
        canvas.put(at, left, "c compares the others", Role.LEGEND)
        at += 1
    return at


def way_name(course: Course) -> str:
    """Return a way by what it is made of, short: `2 femoral, arrest`."""
    if course.id == PROSTHETIC_COURSE:
        return "prosthesis"
    kinds = Counter(stage.kind for stage in course.stages)
    parts = [f"{n} {kind.split('_')[0]}" for kind, n in kinds.items() if kind.endswith("lengthening")]
    parts += ["arrest"] if any(stage.physes for stage in course.stages) else []
    return ", ".join(parts) or "no operation for length"


def _draw_way(canvas: Canvas, plan: Plan, course: Course, left: int, width: int, at: int) -> None:
    mark = f"{FIRST} " if course.recommended else "  "
    role = Role.LABEL if course.recommended else Role.TEXT
    name, needed = way_name(course), cells(course).operations
    needed = str(course.burden.operations) if needed == NO_VALUE else needed
    canvas.put(at, left, f"{mark}{name}", role)
    if len(mark) + len(name) + 1 + len(needed) <= width:
        canvas.put(at, left + width - len(needed), needed, Role.TEXT)
        room = width
    else:
        canvas.put(at + 1, left + width - len(needed), needed, Role.TEXT)
        room = width - len(needed) - 1
    _draw_axis(canvas, plan, course, left + 2, left + room, at + 1)


def _draw_axis(canvas: Canvas, plan: Plan, course: Course, left: int, right: int, row: int) -> None:
    """Draw lengthenings with their device months and the arrest between today and maturity."""
    start = plan.child.age_years
    axis = Axis(start, max(math.ceil(plan.growth.mature_age_years), start + 1), left, right)
    for column in range(axis.left, axis.right):
        canvas.put(row, column, "─", Role.AXIS)
    lengthenings = [stage for stage in course.stages if stage.kind.endswith("lengthening")]
    months = course.burden.device_months / len(lengthenings) if lengthenings else 0.0
    for stage in lengthenings:
        at = axis.column(stage.age_years)
        end = max(at + 1, min(axis.right, round(axis.place(stage.age_years + months / 12))))
        canvas.put(row, at, LENGTHENING * (end - at), Role.STAGE_LATER)
    starts = {axis.column(stage.age_years) for stage in lengthenings}
    for stage in course.stages:
        if stage not in lengthenings:
            at = axis.column(stage.age_years)
            at -= at in starts and at > left  # beside what is done in the same sitting, not over it
            canvas.put(row, at, ARREST if stage.physes else OTHER, Role.STAGE_READY)
