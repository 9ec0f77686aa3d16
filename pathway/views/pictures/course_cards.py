"""The courses side by side: one card a course on a shared age axis, with what each costs and how it ends."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from pathway.plan.model import Course, Plan, Spread
from pathway.views.pictures.picture import Axis, Canvas, Picture, Role
from pathway.views.words import roads
from pathway.views.words.expected import NO_VALUE, cells
from pathway.views.words.plan import cm_words, residual_words

GUTTER = 20
LEAST_CARD, WIDEST_CARD = 20, 34
GAP = 1
ROWS_OF_NAME = 4
FIRST, NOT_BEATEN = "▶", "◆"
ARREST = "▼"
DOTS = 10


@dataclass(frozen=True, slots=True)
class Order:
    """One way to sort the courses: its name in words, and what is small for a good course."""

    name: str
    words: str
    key: Callable[[Course], tuple[float, ...]]


def _less(value: float | None) -> float:
    return math.inf if value is None else -value


ORDERS = (
    Order("plan", "as the plan ranks them", lambda course: (0.0,)),
    Order("equal", "most often within 1 cm", lambda course: (_less(course.chance_within_10_mm),)),
    Order("near", "most often within 2 cm", lambda course: (_less(course.chance_within_20_mm),)),
    Order("operations", "fewest operations for length", lambda course: (_mean(course, "operations"),)),
    Order("device", "least time with a device", lambda course: (_mean(course, "device_months"),)),
    Order("school", "fewest school years affected, if every step works", lambda course: (_school_years(course),)),
    Order("height", "least adult height lost", lambda course: (_mean(course, "adult_height_lost_mm"),)),
)
"""What may matter most to a family; courses that are equal in it stay in the order of the plan."""


def _mean(course: Course, name: str) -> float:
    """Return a mean of what usually happens; courses of which none was worked out come last."""
    spread: Spread | None = None if course.expected is None else getattr(course.expected, name)
    return math.inf if spread is None else spread.mean


def _school_years(course: Course) -> float:
    return float(course.burden.school_years_touched)


def in_order(plan: Plan, order: Order) -> tuple[Course, ...]:
    """Return the courses sorted by what matters; a road that is not measured by length comes last but for `plan`."""
    if order.name == "plan":
        return plan.alternatives
    return tuple(sorted(plan.alternatives, key=lambda course: (course.residual_mm is None, order.key(course))))


def chance_words(chance: float | None) -> str:
    """Return a chance as `73 of 100`."""
    return NO_VALUE if chance is None else f"{100 * chance:.0f} of 100"


def facts(plan: Plan, course: Course) -> tuple[tuple[str, str], ...]:
    """Return what a course costs and how it usually ends, as pairs of a label and its words; lengths in cm.

    All of one world: what usually happens. What the path takes if every step works is told elsewhere.
    """
    spread = course.residual_mm
    if spread is None:
        return (("Operations", str(course.burden.operations)), ("At maturity", "not measured by length"))
    left = residual_words(spread.p50).removeprefix("leaves the ").removeprefix("treated leg ")
    left = left.removeprefix("legs ")
    shown = cells(course)
    return (
        ("Length operations", shown.operations),
        ("  of them unplanned", shown.unplanned),
        ("Months with device", shown.device_months),
        ("Months over 5 cm", shown.over_5_cm),
        ("Height at maturity", _height(plan, course)),
        ("Leg at maturity", left),
        ("  90 of 100, cm", shown.left_range_cm),
        ("Within 1 cm, about", chance_words(course.chance_within_10_mm)),
        ("Within 2 cm, about", chance_words(course.chance_within_20_mm)),
        ("Lasting harm of 100", shown.harm),
    )


def _height(plan: Plan, course: Course) -> str:
    """Return the adult height where it can be projected, else what the course takes off it."""
    told = course.expected.adult_height_lost_mm if course.expected is not None else None
    if told is None:
        return NO_VALUE
    lost = told.mean
    adult = plan.growth.adult_height_mm
    if adult is not None:
        low, high = ((value - lost) / 10 for value in (adult.p05, adult.p95))
        return f"{(adult.p50 - lost) / 10:.0f} cm ({low:.0f} to {high:.0f})"
    return f"-{lost / 10:.1f} cm ({-told.p05 / 10:z.1f} to {-told.p95 / 10:z.1f})" if lost >= 1 else "nothing lost"


def cards_that_fit(width: int) -> int:
    """Return how many cards stand side by side in so many columns."""
    return max(1, (width - GUTTER) // (LEAST_CARD + GAP + 2))


def cards(plan: Plan, courses: Sequence[Course], width: int) -> Picture:
    """Return the courses given as cards side by side; as many as `cards_that_fit`, the others are left out."""
    shown = tuple(courses[: cards_that_fit(width)])
    wide = min(WIDEST_CARD, (width - GUTTER) // max(1, cards_that_fit(width)) - GAP)
    labels = facts(plan, next((c for c in shown if c.residual_mm is not None), plan.alternatives[0]))
    names = {course.id: _name(course, wide) for course in shown}
    tall = max((len(lines) for lines in names.values()), default=1)
    height = tall + 4 + len(labels) + 1
    canvas = Canvas(width, height)
    _labels(canvas, tall, [label for label, _ in labels])
    for place, course in enumerate(shown):
        left = GUTTER + place * (wide + GAP)
        _draw_card(canvas, plan, course, left, wide, tall, [label for label, _ in labels], names[course.id])
    return canvas.picture(" ".join(_alt(plan, shown)))


def _name(course: Course, width: int) -> list[str]:
    mark = f"{FIRST} " if course.recommended else f"{NOT_BEATEN} " if course.not_beaten else "  "
    lines = textwrap.wrap(mark + course.summary, width - 1, subsequent_indent="  ", drop_whitespace=True)
    if not mark.strip():
        lines = textwrap.wrap(course.summary, width - 1, initial_indent="  ", subsequent_indent="  ")
    return lines[:ROWS_OF_NAME]


def _labels(canvas: Canvas, tall: int, labels: Sequence[str]) -> None:
    canvas.put(0, 0, "Course", Role.LANE_LABEL)
    canvas.put(tall, 0, "Amounts, cm", Role.AXIS)
    canvas.put(tall + 1, 0, f"{ARREST} growth arrest", Role.AXIS)
    canvas.put(tall + 2, 0, "Age, years", Role.AXIS)
    for row, label in enumerate(labels):
        canvas.put(tall + 4 + row, 0, label, Role.LANE_LABEL)
    canvas.put(tall + 4 + len(labels), 0, f"  so many of {DOTS}", Role.AXIS)


def _draw_card(
    canvas: Canvas, plan: Plan, course: Course, left: int, wide: int, tall: int, labels: Sequence[str], name: list[str]
) -> None:
    for row in range(tall + 4 + len(labels)):
        canvas.put(row, left, " " * wide, Role.TEXT, course.id)
    for row, line in enumerate(name):
        canvas.put(row, left, line.ljust(wide), Role.LABEL, course.id)
    _draw_small_timeline(canvas, plan, course, left, wide, tall)
    words = dict(facts(plan, course))
    for row, label in enumerate(labels):
        canvas.put(tall + 4 + row, left, words.get(label, NO_VALUE).ljust(wide)[:wide], Role.TEXT, course.id)
    chance = course.chance_within_20_mm
    if chance is not None:
        dots = int(DOTS * chance)
        text = "●" * dots + "○" * (DOTS - dots)
        canvas.put(tall + 4 + len(labels), left, text.ljust(wide), Role.LEGEND, course.id)


def _draw_small_timeline(canvas: Canvas, plan: Plan, course: Course, left: int, wide: int, top: int) -> None:
    axis = Axis(
        math.floor(plan.child.age_years), math.ceil(plan.growth.mature_age_years), left, max(left + 4, left + wide - 2)
    )
    for column in range(axis.left, axis.right):
        canvas.put(top + 1, column, "─", Role.AXIS, course.id)
    months = _device_months(course)
    used = left
    for stage in course.stages:
        at = axis.column(stage.age_years)
        if stage.kind.endswith("lengthening"):
            end = max(at + 1, round(axis.place(stage.age_years + months / 12)))
            for column in range(at, min(end, axis.right)):
                canvas.put(top + 1, column, "━", Role.STAGE_LATER, course.id)
        else:
            canvas.put(top + 1, at, ARREST, Role.STAGE_READY, course.id)
        if stage.amount_mm is not None:
            text = f"{round(stage.amount_mm / 10, 1):g}"
            start = max(used, min(at, left + wide - len(text)))
            if start + len(text) <= left + wide:
                canvas.put(top, start, text, Role.LABEL, course.id)
                used = start + len(text) + 1
    span = axis.to_age - axis.from_age
    every = next((step for step in (1, 2, 3, 4, 5, 6) if (axis.right - axis.left) * step / span >= 4), 8)
    for age in range(math.ceil(axis.from_age), math.floor(axis.to_age) + 1, every):
        text = str(age)
        if axis.column(age) + len(text) <= left + wide:
            canvas.put(top + 2, axis.column(age), text, Role.AXIS, course.id)


def _device_months(course: Course) -> float:
    count = sum(stage.kind.endswith("lengthening") for stage in course.stages)
    return course.burden.device_months / count if count else 0.0


def _alt(plan: Plan, courses: Sequence[Course]) -> Iterator[str]:
    for course in courses:
        first = f", {roads.first_words(plan, course)}" if course.recommended else ""
        yield f"{course.summary[0].upper()}{course.summary[1:]}{first}."
        for stage in course.stages:
            amount = f", {cm_words(stage.amount_mm)}" if stage.amount_mm is not None else ""
            yield f"At {stage.age_years:.1f} years {stage.kind.replace('_', ' ')}{amount}."
        yield " ".join(f"{label.strip()}: {words}." for label, words in facts(plan, course))
