"""A course with its burden and chances as plan data."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from pathway.courses.course import Course
from pathway.courses.policy.counts import Harm, Spread
from pathway.courses.policy.ends import Ends
from pathway.days import add_months, day_at_age
from pathway.plan import model as pm
from pathway.plan.assemble.growth import quantiles
from pathway.plan.assemble.harms import at_least_once
from pathway.protocol.model import Protocol
from pathway.record import Record
from pathway.risk.terms import behind
from pathway.timing.rule_links import device_days


def plan_course(course: Course, record: Record, protocol: Protocol, sittings: int | None = None) -> pm.Course:
    """Return a course as plan data, ages as chosen on the planning grid.

    `sittings` are the days of operations where the course has dates: what falls on one day is one operation.
    """
    ends = course.ends
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

    def stated(share: float) -> float:
        return round(min(share, surest), 3)

    burden = pm.Burden(
        operations=course.operations if sittings is None else sittings,
        device_months=course.device_months,
        months_over_25_mm=course.months_over,
        school_years_touched=_school_years(course, record, protocol),
        adult_height_lost_mm=round(course.height_lost_mm, 1),
    )
    printed = next((one for one in protocol.printed_programmes if one.id == course.programme), None)
    return pm.Course(
        id=course.id,
        summary=course.summary,
        recommended=course.recommended,
        within_protocol=course.within_protocol,
        stages=tuple(sorted(chosen, key=lambda item: item.age_years)),
        burden=burden,
        predicted_mm=round(course.predicted_mm, 1),
        corrections_mm=round(course.corrections_mm, 1),
        median_residual_mm=round(course.residual_mm, 1),
        residual_mm=None if ends is None else quantiles(ends.residual_mm),
        chance_within_10_mm=None if ends is None else stated(ends.within[0]),
        chance_within_20_mm=None if ends is None else stated(ends.within[-1]),
        usually=None if ends is None else _usually(ends),
        lengthenings_needed=_needed(course),
        height_lost_mm=quantiles(ends.height_lost_mm) if ends is not None and course.arrest else None,
        points=round(course.points, 2),
        not_beaten=course.not_beaten,
        gap=None if course.gap is None else round(course.gap, 2),
        lost_because=course.lost_because,
        expected=None if ends is None else _expected(ends, stated, protocol),
        if_every_step_works=None if course.prosthetic else _path(course, burden),
        programme=course.programme,
        programme_label="" if printed is None else printed.label,
        rules_out="" if printed is None else printed.rules_out,
    )


def _expected(ends: Ends, stated: Callable[[float], float], protocol: Protocol) -> pm.Expected:
    near, accepted = ends.within
    over_50, over_100 = ends.months_over_mm
    low, high = (float(np.quantile(ends.height_lost_mm, share)) for share in (0.05, 0.95))
    mean = float(ends.height_lost_mm.mean())
    return pm.Expected(
        operations=_spread(ends.counts.operations),
        unplanned_operations=_spread(ends.counts.unplanned),
        device_months=_spread(ends.counts.device_months),
        peak_difference_mm=round(ends.peak_mm, 1),
        months_over_50_mm=round(over_50, 1),
        months_over_100_mm=round(over_100, 1),
        chance_within_10_mm=stated(near),
        chance_within_20_mm=stated(accepted),
        adult_height_lost_mm=_spread(Spread(mean, min(low, mean), max(high, mean))),
        harms=tuple(_harm(one, protocol) for one in ends.harms),
    )


def _harm(one: Harm, protocol: Protocol) -> pm.ExpectedHarm:
    series = {count.series for count in behind(protocol, one.id)}
    children = None
    if len(series) >= protocol.number("risk_series_for_a_rate"):
        best, low, high = (at_least_once(events) for events in (one.of_100, one.low, one.high))
        children = pm.ChildrenWith(best=best, low=low, high=high)
    counted = round(one.of_100, 1), round(one.low, 1), round(one.high, 1)
    return pm.ExpectedHarm(id=one.id, per_100=counted[0], low=counted[1], high=counted[2], children=children)


def _spread(of: Spread) -> pm.Spread:
    return pm.Spread(mean=round(of.mean, 1), p05=round(of.p05, 1), p95=round(of.p95, 1))


def _path(course: Course, burden: pm.Burden) -> pm.IfEveryStepWorks:
    return pm.IfEveryStepWorks(
        operations=burden.operations,
        device_months=burden.device_months,
        residual_mm=round(course.residual_mm, 1),
        months_over_25_mm=burden.months_over_25_mm,
        school_years_touched=burden.school_years_touched,
        adult_height_lost_mm=burden.adult_height_lost_mm,
    )


def _usually(ends: Ends) -> pm.Usually:
    return pm.Usually(
        planned_operations=round(ends.planned, 1),
        unplanned_operations=round(ends.unplanned, 1),
        device_months=round(ends.device_months, 1),
        months_over_5_percent=round(ends.months_over),
        lasting_harm_of_100=round(100 * min(ends.harm, 1.0)),
    )


_RESULTS = ("within_20_mm", "within_25_mm", "final_difference_mm", "lengthenings", "all_operations")
"""What is counted of whole courses that ours tell too."""


def printed_results(found: Sequence[Course], record: Record, protocol: Protocol) -> tuple[pm.PrintedResult, ...]:
    """Return what print counts of whole courses of such children, where chances of several courses are compared.

    Counts of this diagnosis first, then those of mixed causes; methods that are history are left out.
    """
    if sum(course.ends is not None for course in found) < 2:
        return ()
    own = record.child.diagnosis
    bone = protocol.diagnosis(own).bones[0]
    told = [
        item
        for item in protocol.harms
        if item.treatment == "whole_course" and item.what in _RESULTS and item.diagnosis in (own, "mixed")
        if item.device != "fast_distraction" and item.bone in (bone, "both")
    ]
    return tuple(
        pm.PrintedResult(
            id=item.id,
            text=item.family_words,
            population=item.population,
            differs="; ".join(part for part in (item.indirect, item.note) if part),
            sources=item.sources,
        )
        for item in sorted(told, key=lambda item: item.diagnosis != own)
    )


def _school_years(course: Course, record: Record, protocol: Protocol) -> int:
    born = record.child.date_of_birth
    school_starts = add_months(born, round(12 * protocol.number("school_from_years")))
    first_month = int(protocol.number("school_year_start_month"))
    touched: set[int] = set()
    for item in course.lengthenings:
        start = day_at_age(born, item.age_years)
        end = start.add(days=device_days(protocol, item.bone, item.amount_mm, item.device))
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
