"""The two roads in words: which stages belong to which, at which ages they usually come, what being first means."""

from __future__ import annotations

import datetime

from pathway.days import whole_months
from pathway.plan.model import Course, Plan, PlanStage
from pathway.preferences import PROSTHETIC_COURSE

LONG_UNITS = ("month", "year")
SHORT_UNITS = ("m", "y")
MONTHS_TOLD_UP_TO = 24
"""Ages up to this are told in months, as clinics do."""


def prosthetic_stages(plan: Plan) -> tuple[PlanStage, ...]:
    """Return what is still to come of the prosthetic road, in its usual order."""
    order = plan.roads.prosthetic if plan.roads is not None else ()
    found = [stage for stage in plan.stages if stage.road == "prosthetic" and not stage.begun]
    return tuple(sorted(found, key=lambda stage: order.index(stage.id) if stage.id in order else len(order)))


def other_stages(plan: Plan) -> tuple[PlanStage, ...]:
    """Return the stages of the plan beside that road; the road itself is told as a road, and is no stage of its own."""
    there = {stage.id for stage in prosthetic_stages(plan)}
    return tuple(stage for stage in plan.stages if stage.id not in there and not is_the_road(stage))


def is_the_road(stage: PlanStage) -> bool:
    """Return whether a stage is the prosthetic road as a whole, not begun."""
    return stage.kind == PROSTHETIC_COURSE and not stage.begun


def road_is_open(plan: Plan) -> bool:
    """Return whether neither road comes first and nobody has chosen one: nothing of length is more than drawn."""
    return plan.roads is not None and not plan.roads.chosen and plan.roads.stands in ("both", "undecided")


def of_lengthening(plan: Plan, stage: PlanStage) -> bool:
    """Return whether a stage must be marked as of the lengthening road, because that road is not the one chosen."""
    roads = plan.roads
    drawn = roads is not None and roads.chosen != "lengthening" and roads.stands in ("both", "undecided", "prosthetic")
    return drawn and stage.road == "lengthening" and not stage.begun


def usual_words(plan: Plan, stage: PlanStage) -> str:
    """Return when a stage of the prosthetic road usually comes, as ages: print has no dates, and a plan gives none."""
    if stage.past_usual is not None:
        return f"past the usual age ({_age(plan, stage.past_usual)}); later is printed"
    if stage.window is None:
        return "no usual age known"
    return f"usual age {span_words(plan, stage)}"


def span_words(plan: Plan, stage: PlanStage, *, short: bool = False) -> str:
    """Return the ages of a window: `10 to 18 months`, `3 to 6 years`; "" where it has none."""
    months = None if stage.past_usual is not None else window_months(plan, stage)
    if months is None:
        return ""
    low, high = months
    names = SHORT_UNITS if short else LONG_UNITS
    if high is None:
        return f"from {_told(low, names)}"
    whole = low % 12 == 0 and high % 12 == 0
    if high <= MONTHS_TOLD_UP_TO:
        same = f"{low}" if low == high else f"{low}-{high}" if short else f"{low} to {high}"
        return f"{same} {names[0] if short else 'months'}"
    if whole and low > 0:
        return f"{low // 12}-{high // 12} {names[1]}" if short else f"{low // 12} to {high // 12} years"
    return f"{_told(low, names)} to {_told(high, names)}"


def window_months(plan: Plan, stage: PlanStage) -> tuple[int, int | None] | None:
    """Return the ages in whole months between which a window lies, the later None where nothing ends it."""
    if stage.window is None:
        return None
    latest = stage.window.latest
    return _months(plan, stage.window.earliest), None if latest is None else _months(plan, latest)


def late_words(plan: Plan, stage: PlanStage) -> str:
    """Return that a dated stage comes later than it is usually done, or ""."""
    if stage.past_usual is None or stage.date is None or stage.begun:
        return ""
    return f"later than usual (usually by {_age(plan, stage.past_usual)})"


def first_words(plan: Plan, course: Course) -> str:
    """Return what it means that a course comes first; "" for any other course.

    Never that an artificial leg was recommended or chosen, unless family and team asked for it.
    """
    roads = plan.roads
    if not course.recommended:
        return ""
    if course.id == PROSTHETIC_COURSE:
        asked = roads is not None and roads.chosen == "prosthetic"
        return "asked for by family and team" if asked else "first by published practice; family and team decide"
    if road_is_open(plan):
        return "first of the lengthening road; no road is chosen"
    return "recommended"


def not_planned(plan: Plan) -> tuple[str, ...]:
    """Return what no source supports for this child, each by its name with the reason."""
    return tuple(f"{item.label}: {item.because}" for item in plan.refused)


def _months(plan: Plan, day: datetime.date) -> int:
    return whole_months(plan.child.date_of_birth, day)


def _age(plan: Plan, day: datetime.date) -> str:
    return _told(_months(plan, day), LONG_UNITS)


def _told(months: int, names: tuple[str, str]) -> str:
    """Return an age in months as words: `18 months`, `5 years 2 months`, or short: `18 m`, `5 y 2 m`."""
    if months <= MONTHS_TOLD_UP_TO:
        return _unit(months, names[0])
    years, rest = divmod(months, 12)
    return _unit(years, names[1]) + (f" {_unit(rest, names[0])}" if rest else "")


def _unit(number: int, name: str) -> str:
    return f"{number} {name}{'s' if len(name) > 1 and number != 1 else ''}"
