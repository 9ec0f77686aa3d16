"""The difference of the legs over age, with the growth arrest and without it: a chart in mm, not to scale."""

from __future__ import annotations

import numpy as np

from pathway.courses.course import PLATES
from pathway.days import age_words
from pathway.growth import Step, outlook
from pathway.worksheets.case import Case
from pathway.worksheets.growth_arrest.prevented import CHOICES, Left
from pathway.worksheets.sheet import Drawing, Mark, Shape

WIDE, HIGH, AWAY, POINTS = 160.0, 70.0, 5.0, 60


def difference_over_age(case: Case, left: Left, mm: float, chosen: str) -> Drawing:
    """Return the chart: middle projection, no other operation counted; the arrest on its day, or today where past.

    The case needs a posterior.
    """
    posterior = case.posterior
    assert posterior is not None
    middle, now = posterior.central(), posterior.age_years
    wanted = left.age_for(mm)
    at = now if wanted is None else wanted
    ages = np.linspace(now, max(middle.mature_age_years, at) + 1.0, POINTS)
    # The last millimetre grows after the chart ends: what is told is told of the end of all growth.
    grown_up = [max(float(ages[-1]), *(float(middle.bones[bone].knots[-1]) for bone in PLATES))]
    steps = [Step("long", bone, at, stops=(plate,)) for bone, plate in PLATES.items() if plate in CHOICES[chosen]]
    alone = outlook(middle, (), ages).discrepancy_mm[0]
    closed = outlook(middle, steps, ages).discrepancy_mm[0]
    last, ends = (float(outlook(middle, of, grown_up).discrepancy_mm[0, -1]) for of in ((), steps))
    top, bottom = max(float(alone.max()), float(closed.max()), 1.0), min(float(closed.min()), float(alone.min()), 0.0)
    span = ages[-1] - ages[0]

    def place(age: float, difference: float) -> tuple[float, float]:
        return round(WIDE * (age - ages[0]) / span, 3), round(HIGH * difference / (top - bottom), 3)

    def line(values: np.ndarray) -> tuple[tuple[float, float], ...]:
        return tuple(place(float(age), float(value)) for age, value in zip(ages, values, strict=True))

    floor = place(now, bottom)[1]
    shapes = [
        Shape(role="axis", points=(place(now, 0.0), place(float(ages[-1]), 0.0))),
        Shape(role="axis", points=(place(now, bottom), place(now, top))),
        Shape(role="old axis", points=line(alone), dashed=True),
        Shape(role="shift", points=line(closed)),
        Shape(role="cut", points=(place(at, bottom), place(at, top)), dashed=True),
    ]
    (_, above), (_, under) = place(now, float(alone[-1])), place(now, float(closed[-1]))
    marks = [
        Mark(text=f"without arrest {last:.0f} mm", at=(WIDE, above + AWAY), anchor="end"),
        Mark(text=f"with arrest {ends:.0f} mm, {last - ends:.1f} mm less", at=(WIDE, under - AWAY), anchor="end"),
        Mark(text=f"arrest at {age_words(at)}", at=(place(at, top)[0], place(at, top)[1] + 2 * AWAY), anchor="middle"),
        Mark(text=f"today, {age_words(now)}", at=(0.0, floor - 2 * AWAY), anchor="start"),
        Mark(text=age_words(float(ages[-1])), at=(WIDE, floor - 2 * AWAY), anchor="end"),
        Mark(text="equal legs", at=(AWAY, place(now, 0.0)[1] + AWAY), anchor="start"),
    ]
    late = " (the wanted day is past: drawn as if done today)" if wanted is None else ""
    words = (
        "Difference of the legs over age by the middle projection, no other operation counted. Without the arrest it"
        f" is {alone[0]:.0f} mm today and {last:.0f} mm at the end of growth; with the arrest at"
        f" {age_words(at)}{late} it ends at {ends:.0f} mm, {last - ends:.1f} mm less. Not to scale."
    )
    title = "Difference over age, with and without the arrest"
    return Drawing(title=title, shapes=tuple(shapes), marks=tuple(marks), alternative=words)
