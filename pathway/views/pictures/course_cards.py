"""The courses side by side: one card a course on a shared age axis, with what each costs and how it ends."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from pathway.days import age_at
from pathway.plan.model import Course, Plan, Spread
from pathway.preferences import PROSTHETIC_COURSE
from pathway.views.pictures.picture import Axis, Canvas, Picture, Role
from pathway.views.words import firmness, roads
from pathway.views.words.expected import NO_VALUE, cells
from pathway.views.words.plan import cm_words
from pathway.views.words.sides import side_words

GUTTER = 20
LEAST_CARD, WIDEST_CARD = 25, 34
GAP = 1
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
    spread, shown = course.residual_mm, cells(course)
    if course.id == PROSTHETIC_COURSE:
        return (("Operations", str(course.burden.operations)), ("Leg at maturity", "not measured by length"))
    left = NO_VALUE if spread is None else side_words(spread.p50, " cm")
    return (
        ("Length operations", shown.operations),
        ("  of them unplanned", shown.unplanned),
        ("Months with device", shown.device_months),
        ("Most difference", NO_VALUE if shown.peak_cm == NO_VALUE else f"{shown.peak_cm} cm on average"),
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
    return f"{lost / 10:.1f} cm lost ({told.p05 / 10:.1f}-{told.p95 / 10:.1f})" if lost >= 1 else "nothing lost"


def cards_that_fit(width: int) -> int:
    """Return how many cards stand side by side in so many columns."""
    return max(1, (width - GUTTER) // (LEAST_CARD + GAP + 2))


def cards(plan: Plan, courses: Sequence[Course], width: int) -> Picture:
    """Return the courses given as cards side by side; as many as `cards_that_fit`, the others are left out.

    The path if every step works stands above under its own head; all below is what usually happens.
    """
    shown = tuple(courses[: cards_that_fit(width)])
    wide = min(WIDEST_CARD, (width - GUTTER) // max(1, cards_that_fit(width)) - GAP)
    labels = [label for label, _ in facts(plan, next((c for c in shown if c.residual_mm), plan.alternatives[0]))]
    names = {course.id: _name(plan, course, wide) for course in shown}
    closed = {course.id: textwrap.wrap(course.rules_out, wide) for course in shown if course.rules_out}
    tall = max((len(lines) for lines in names.values()), default=1)
    rows = _Rows(tall, labels, max((len(lines) for lines in closed.values()), default=0))
    canvas = Canvas(width, rows.height)
    _labels(canvas, rows)
    for place, course in enumerate(shown):
        left = GUTTER + place * (wide + GAP)
        for row in range(rows.height):
            canvas.put(row, left, " " * wide, Role.TEXT, course.id)
        for row, line in enumerate(names[course.id]):
            canvas.put(row, left, line.ljust(wide), Role.LABEL, course.id)
        _draw_small_timeline(canvas, plan, course, left, wide, rows.path + 1)
        _draw_facts(canvas, plan, course, left, wide, rows)
        for row, line in enumerate(closed.get(course.id, [NO_VALUE] if rows.closed else [])):
            canvas.put(rows.rules_out + row, left, line.ljust(wide), Role.TEXT, course.id)
    return canvas.picture(" ".join(_alt(plan, shown)))


@dataclass(frozen=True, slots=True)
class _Rows:
    """Where the parts of the cards begin: `tall` rows of names, the path, what usually happens, what is ruled out."""

    tall: int
    labels: Sequence[str]
    closed: int

    @property
    def path(self) -> int:
        return self.tall

    @property
    def usual(self) -> int:
        return self.path + 4

    @property
    def dots(self) -> int:
        return self.usual + 1 + len(self.labels)

    @property
    def rules_out(self) -> int:
        return self.dots + 1

    @property
    def height(self) -> int:
        return self.rules_out + self.closed


def _name(plan: Plan, course: Course, width: int) -> list[str]:
    mark = FIRST if course.recommended else NOT_BEATEN if course.not_beaten else ""
    mark += firmness.MARK if firmness.is_between(plan, course) else ""
    indent = f"{mark or ' '} "
    return textwrap.wrap(course.summary, width - 1, initial_indent=indent, subsequent_indent=" " * len(indent))


def _labels(canvas: Canvas, rows: _Rows) -> None:
    canvas.put(0, 0, "Course", Role.LANE_LABEL)
    canvas.put(rows.path, 0, "If every step works", Role.LEGEND)
    canvas.put(rows.path + 1, 0, "Amounts, cm", Role.AXIS)
    canvas.put(rows.path + 2, 0, f"{ARREST} growth arrest", Role.AXIS)
    canvas.put(rows.path + 3, 0, "Age, years", Role.AXIS)
    canvas.put(rows.usual, 0, "What usually happens", Role.LEGEND)
    for row, label in enumerate(rows.labels):
        canvas.put(rows.usual + 1 + row, 0, label, Role.LANE_LABEL)
    canvas.put(rows.dots, 0, f"2 cm: so many of {DOTS}", Role.AXIS)
    if rows.closed:
        canvas.put(rows.rules_out, 0, "Rules out", Role.LANE_LABEL)


def _draw_facts(canvas: Canvas, plan: Plan, course: Course, left: int, wide: int, rows: _Rows) -> None:
    words = dict(facts(plan, course))
    for row, label in enumerate(rows.labels):
        canvas.put(rows.usual + 1 + row, left, words.get(label, NO_VALUE).ljust(wide)[:wide], Role.TEXT, course.id)
    chance = course.chance_within_20_mm
    if chance is not None:
        dots = int(DOTS * chance)
        text = "●" * dots + "○" * (DOTS - dots)
        canvas.put(rows.dots, left, text.ljust(wide), Role.LEGEND, course.id)


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
            yield f"At {age_at(plan.child.date_of_birth, stage.age_years)} {stage.kind.replace('_', ' ')}{amount}."
        yield " ".join(f"{label.strip()}: {words}." for label, words in facts(plan, course))
