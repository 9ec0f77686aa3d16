"""What usually happens on a course, in words: burden, chances and harms of one world, never of the path beside it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from pathway.plan.model import Course, Expected, Plan, Spread
from pathway.plan.of_100 import of_100
from pathway.views.words.sides import between_words, side_range, side_words

NO_VALUE = "-"
NO_CHANCES = "No chances were worked out for this course."
HARM_WORDS = {
    "lasting_harm": "lasting harm",
    "hip": "hip unstable",
    "knee": "knee unstable",
    "knee_lasting": "knee stays stiff or is released",
    "fracture": "new bone breaks or bends",
    "deep_infection": "deep infection",
    "shortfall": "less length than planned",
}
WORLD = (
    "What usually happens, of one world: complications at published rates, every amount decided again at the visits to "
    "come. Operations are those for length; a range holds 90 of 100 children, of harms the range between teams."
)
DIFFERS = (
    "What print counts of whole courses may differ from ours: other children, amounts, ages, devices and teams. Ours "
    "counts operations for length only, and decides again at every visit."
)


class Cells(NamedTuple):
    """One course in numbers of what usually happens, each as it is shown; `NO_VALUE` where it has none."""

    operations: str
    unplanned: str
    device_months: str
    peak_cm: str
    over_5_cm: str
    over_10_cm: str
    height_cm: str
    left_cm: str
    left_range_cm: str
    within_1_cm: str
    within_2_cm: str
    harm: str


def cells(course: Course) -> Cells:
    """Return the numbers of a course, all of `expected` and the end that belongs to it."""
    told, left = course.expected, course.residual_mm
    if told is None or left is None:
        return Cells(*(NO_VALUE for _ in Cells._fields))
    height = told.adult_height_lost_mm
    harm = lasting(told)
    return Cells(
        operations=spread_words(told.operations, 1),
        unplanned=spread_words(told.unplanned_operations, 1),
        device_months=spread_words(told.device_months, 0),
        peak_cm=f"{told.peak_difference_mm / 10:.0f}",
        over_5_cm=f"{told.months_over_50_mm:.0f}",
        over_10_cm=f"{told.months_over_100_mm:.0f}",
        height_cm=NO_VALUE if height is None else f"{height.mean / 10:.1f}",
        left_cm=side_words(left.p50, ""),
        left_range_cm=side_range(left.p05, left.p95),
        within_1_cm=f"{100 * told.chance_within_10_mm:.0f}",
        within_2_cm=f"{100 * told.chance_within_20_mm:.0f}",
        harm=f"{harm[0]:.0f} ({harm[1]:.0f}-{harm[2]:.0f})",
    )


def spread_words(of: Spread, digits: int) -> str:
    """Return a count as `5.4 (4-8)`: its mean and the range of 90 of 100, which holds the mean as it is written."""
    mean = round(of.mean, digits)
    return f"{mean:g} ({min(round(of.p05), mean):g}-{max(round(of.p95), mean):g})"


def lasting(told: Expected) -> tuple[float, float, float]:
    """Return lasting harms in 100 children: for a typical team, and the low and high end for a new one."""
    found = next((one for one in told.harms if one.id == "lasting_harm"), None)
    return (0.0, 0.0, 0.0) if found is None else (found.per_100, found.low, found.high)


def lengthenings_words(course: Course) -> str:
    """Return how many of 100 children need how many further lengthenings: `81 need 2 lengthenings, 19 need 3`."""
    counted = of_100({one.lengthenings: one.share for one in course.lengthenings_needed})
    parts = [
        f"{count} {'needs' if count == 1 else 'need'} "
        f"{'no lengthening' if not number else '1 lengthening' if number == 1 else f'{number} lengthenings'}"
        for number, count in counted.items()
        if count
    ]
    return ", ".join(parts)


def expected_words(course: Course) -> str:
    """Return all that usually happens on a course in some sentences; "" where none was worked out."""
    told = course.expected
    if told is None or course.residual_mm is None:
        return ""
    shown = cells(course)
    height = told.adult_height_lost_mm
    stop = " (some stop early)" if any(one.lengthenings for one in course.lengthenings_needed) else ""
    lost = f" Adult height lost: {shown.height_cm} cm on average." if height is not None and height.mean >= 1 else ""
    return (
        f"What usually happens, with complications at published rates: of 100 children {lengthenings_words(course)}"
        f"{stop}. Operations for length {shown.operations}, of them unplanned {shown.unplanned}; months with a "
        f"device {shown.device_months}; the legs differ by up to {shown.peak_cm} cm on average, by over 5 cm for "
        f"{shown.over_5_cm} months, over 10 cm for {shown.over_10_cm} (some years after growth counted with them)."
        f"{lost} {_harms(told)}"
        f"Within 1 cm: about {shown.within_1_cm} of 100, within 2 cm: about {shown.within_2_cm}; in about 90 of 100 "
        f"the treated leg ends {between_words(course.residual_mm.p05, course.residual_mm.p95)}."
    )


def programme_words(course: Course) -> Iterator[str]:
    """Yield which programme of print a course is the best of, and what that rules out."""
    if course.programme:
        yield f"As printed: {course.programme_label}."
        yield f"Rules out: {course.rules_out}"


def short_words(course: Course) -> str:
    """Return what usually happens on a course in half a line: operations, months with a device, the chance."""
    if course.expected is None:
        return ""
    shown = cells(course)
    return (
        f"usually {shown.operations} operations for length, {shown.device_months} months with a device, "
        f"within 2 cm about {shown.within_2_cm} of 100"
    )


def _harms(told: Expected) -> str:
    if not told.harms:
        return ""
    parts = [f"{HARM_WORDS.get(one.id, one.id)} {one.per_100:.0f} ({one.low:.0f}-{one.high:.0f})" for one in told.harms]
    return (
        f"Among the lengthenings of 100 children, of whom one may have several: {', '.join(parts)}; what a growth "
        "arrest brings is not counted. "
    )


def printed_lines(plan: Plan) -> Iterator[str]:
    """Yield what print counts of whole courses, each with whom it is of, after why that may differ from ours."""
    if plan.printed_results:
        yield DIFFERS
    for one in plan.printed_results:
        yield f"{one.text} Of: {one.population}; {one.differs}."
