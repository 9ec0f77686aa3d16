"""A course with its burden and chances as plan data."""

from __future__ import annotations

from pathway.courses.course import Course
from pathway.courses.policy.ends import Ends
from pathway.days import add_months, day_at_age
from pathway.plan import model as pm
from pathway.plan.assemble.growth import quantiles
from pathway.protocol.model import Protocol
from pathway.record import Record
from pathway.timing.rule_links import device_days


def plan_course(course: Course, record: Record, protocol: Protocol, sittings: int | None = None) -> pm.Course:
    """Return a course as plan data, ages as chosen on the planning grid.

    `sittings` are the days of operations where the course has dates: what falls on one day is one operation.
    """
    ends = course.ends
    near, accepted = ends.within if ends is not None else (None, None)
    chosen = [
        pm.CourseStage(
            id=item.stage,
            kind=item.kind,
            age_years=round(item.age_years, 3),
            amount_mm=item.amount_mm,
        )
        for item in course.lengthenings
    ]
    if course.arrest is not None:
        chosen.append(
            pm.CourseStage(
                id=course.arrest.stage,
                kind=course.arrest.stage,
                amount_mm=course.arrest.effect_mm,
                age_years=round(course.arrest.age_years, 3),
                physes=course.arrest.physes,
            )
        )
    surest = protocol.number("chance_surest")

    def stated(share: float | None) -> float | None:
        return None if share is None else round(min(share, surest), 3)

    return pm.Course(
        id=course.id,
        summary=course.summary,
        recommended=course.recommended,
        within_protocol=course.within_protocol,
        stages=tuple(sorted(chosen, key=lambda item: item.age_years)),
        burden=pm.Burden(
            operations=course.operations if sittings is None else sittings,
            device_months=course.device_months,
            months_over_25_mm=course.months_over,
            school_years_touched=_school_years(course, record, protocol),
            adult_height_lost_mm=round(course.height_lost_mm, 1),
        ),
        predicted_mm=round(course.predicted_mm, 1),
        corrections_mm=round(course.corrections_mm, 1),
        median_residual_mm=round(course.residual_mm, 1),
        residual_mm=None if ends is None else quantiles(ends.residual_mm),
        chance_within_10_mm=stated(near),
        chance_within_20_mm=stated(accepted),
        usually=None if ends is None else _usually(ends),
        lengthenings_needed=_needed(course),
        height_lost_mm=quantiles(ends.height_lost_mm) if ends is not None and course.arrest else None,
        points=round(course.points, 2),
        not_beaten=course.not_beaten,
        gap=None if course.gap is None else round(course.gap, 2),
        lost_because=course.lost_because,
    )


def _usually(ends: Ends) -> pm.Usually:
    return pm.Usually(
        planned_operations=round(ends.planned, 1),
        unplanned_operations=round(ends.unplanned, 1),
        device_months=round(ends.device_months, 1),
        months_over_5_percent=round(ends.months_over),
        lasting_harm_of_100=round(100 * min(ends.harm, 1.0)),
    )


def _school_years(course: Course, record: Record, protocol: Protocol) -> int:
    born = record.child.date_of_birth
    school_starts = add_months(born, round(12 * protocol.number("school_from_years")))
    first_month = int(protocol.number("school_year_start_month"))
    touched: set[int] = set()
    for item in course.lengthenings:
        start = day_at_age(born, item.age_years)
        end = start.add(days=device_days(protocol, item.bone, item.amount_mm))
        if end >= school_starts:
            start = max(start, school_starts)
            years = (day.year if day.month >= first_month else day.year - 1 for day in (start, end))
            touched.update(range(next(years), next(years) + 1))
    return len(touched)


def _needed(course: Course) -> tuple[pm.Needed, ...]:
    """Return how often each number of further lengthenings will be needed, the rare ones (under 1 of 100) left out."""
    if course.ends is None:
        return ()
    return tuple(
        pm.Needed(lengthenings=number, share=round(share, 3))
        for number, share in sorted(course.ends.numbers.items())
        if share >= 0.01
    )
