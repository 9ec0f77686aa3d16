"""Courses: how many lengthenings, with or without growth arrest of the long leg, compared and ranked.

Deterministic on the central outlook: the course that reaches the goal, then the one with the least burden
(operations, months with a device, months with a large difference, unusual ages), weighed by the rules. Spread and
chances come from the growth draws, later amounts decided again from what visits will show.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from pathway.courses.course import (
    PROSTHETIC_COURSE,
    Arrest,
    Course,
    Lengthening,
    course_id,
    course_steps,
    summary_of,
)
from pathway.courses.course_outcome import chance_of
from pathway.courses.lengthening_options import POINT
from pathway.courses.search import Choice, CourseSearch
from pathway.days import in_months
from pathway.growth import outlook
from pathway.timing.rule_links import device_days


def courses(search: CourseSearch, *, chances: bool = True) -> tuple[Course, ...]:
    """Return the best course for each number of lengthenings with and without growth arrest, best first.

    The first within the protocol is recommended, unless the family or team chose another; every other says
    why it lost. A prosthetic pathway is among them where the protocol offers it.
    """
    return _Strategist(search).ranked(chances)


class _Strategist:
    def __init__(self, search: CourseSearch) -> None:
        self.search, self.problem = search, search.problem
        self.graph, self.protocol = self.problem.graph, self.problem.protocol
        self.may_arrest = any(item.state == "optional" for item in self.graph.of_role("growth_arrest"))
        self.base_operations = sum(
            item.state == "planned" and item.stage.operation and item.stage.lane != "length"
            for item in self.graph.stages
        )

    def ranked(self, chances: bool) -> tuple[Course, ...]:
        found = list(self._all())
        wishes = self.problem.wishes
        found.sort(key=lambda course: self._key(course, wishes.prefer))
        best = next((c for c in found if c.id == wishes.course), None)
        best = best or next((c for c in found if c.within_protocol), None)
        ordered = sorted(found, key=lambda course: course is not best)
        told = [
            replace(course, recommended=course is best, lost_because=self._lost(course, best)) for course in ordered
        ]
        if chances:
            told = [
                course
                if course.prosthetic
                else replace(course, chance=chance_of(course, self.search.problem_of(course)))
                for course in told
            ]
        return tuple(_not_beaten(told, self.protocol.number("goal_accepted_mm"), self.protocol.number("chance_surest")))

    def _all(self) -> Iterator[Course]:
        most = self.problem.wishes.at_most_lengthenings
        for femoral in self.search.numbers("femur"):
            for tibial in self.search.numbers("tibia"):
                if most is not None and femoral + tibial > most:
                    continue
                for arrested in (False, True) if self.may_arrest else (False,):
                    best = self.search.best(femoral, tibial, arrested=arrested)
                    if best is not None:
                        yield self._course(best)
        if any(item.state == "optional" for item in self.graph.of_role("prosthetic_alternative")):
            yield self._prosthetic()

    def _course(self, choice: Choice) -> Course:
        lengthenings, arrest = choice.lengthenings, choice.arrest
        steps = course_steps(lengthenings, arrest)
        last = self.problem.grid.age_years[-1:]
        central = float(outlook(self.problem.growth.posterior.central(), steps, last).at_maturity()[0])
        draws = outlook(self.problem.growth.posterior, steps, last).at_maturity()
        days = sum(device_days(self.protocol, item.bone, item.amount_mm) for item in lengthenings)
        against = any(not self.graph.stage(item.stage).within_protocol for item in lengthenings)
        return Course(
            id=course_id(lengthenings, arrest),
            summary=summary_of(lengthenings, arrest),
            lengthenings=lengthenings,
            arrest=arrest,
            prosthetic=False,
            within_protocol=not against and self._declines_kept(lengthenings, arrest),
            predicted_mm=self.problem.growth.predicted_mm,
            residual_mm=central,
            draws_mm=draws,
            operations=self.base_operations + 2 * len(lengthenings) + (arrest is not None),
            device_months=in_months(days),
            months_over=self.problem.months_over(lengthenings, arrest),
            height_lost_mm=arrest.effect_mm if arrest else 0.0,
            points=choice.points / POINT,
        )

    def _declines_kept(self, lengthenings: tuple[Lengthening, ...], arrest: Arrest | None) -> bool:
        kinds = {item.kind for item in lengthenings} | ({self.graph.stage(arrest.stage).kind} if arrest else set())
        return not kinds & self.problem.wishes.declined

    def _prosthetic(self) -> Course:
        draws = outlook(self.problem.growth.posterior, (), self.problem.grid.age_years[-1:]).at_maturity()
        return Course(
            id=PROSTHETIC_COURSE,
            summary="prosthetic pathway instead of lengthening",
            lengthenings=(),
            arrest=None,
            prosthetic=True,
            within_protocol=True,
            predicted_mm=self.problem.growth.predicted_mm,
            residual_mm=self.problem.growth.predicted_mm,
            draws_mm=draws,
            operations=1,
            device_months=0.0,
            months_over=0.0,
            height_lost_mm=0.0,
        )

    def _key(self, course: Course, preferences: frozenset[str]) -> tuple[float | int | bool | str, ...]:
        left = abs(course.residual_mm)
        reach = (0.0 if self._beyond() else math.inf) if course.prosthetic else self._excess(left)
        avoid = "no_growth_arrest" in preferences and course.arrest is not None
        measures = {
            "fewest_operations": course.operations,
            "least_device_time": course.device_months,
            "shortest_time_different": course.months_over,
            "smallest_steps": max((item.amount_mm for item in course.lengthenings), default=0.0),
        }
        accepted = self.protocol.number("goal_accepted_mm")
        wished = tuple(
            measure if left <= accepted or course.prosthetic else math.inf
            for name, measure in measures.items()
            if name in preferences
        )
        return (
            not course.within_protocol,
            avoid,
            *wished,
            reach if math.isinf(reach) else round(reach),
            self._burden(course),
            course.operations,
            course.id,
        )

    def _beyond(self) -> bool:
        """Return whether some bone can be lengthened in no way within the protocol."""
        possible = [item for item in self.graph.of_role("lengthening") if item.state == "possible"]
        bones = {item.stage.bone for item in possible}
        return any(all(not item.within_protocol for item in possible if item.stage.bone == bone) for bone in bones)

    def _why_heavier(self, course: Course, best: Course) -> str:
        parts = []
        if course.device_months > best.device_months:
            parts.append(f"{course.device_months - best.device_months:.0f} more months with a device")
        if course.months_over > best.months_over:
            parts.append(f"{course.months_over - best.months_over:.0f} more months with a large difference")
        return " and ".join(parts) or "at unusual ages or with larger single amounts"

    def _burden(self, course: Course) -> float:
        """Return operations and points as one number of points, by the weight of the rules."""
        return round(course.points + self.protocol.number("weight_operation") * course.operations, 2)

    def _excess(self, left_mm: float) -> float:
        return float(self.problem.excess(np.array(left_mm)))

    def _outside(self, course: Course) -> str:
        chosen = {item.stage for item in course.lengthenings}
        rules = [rule for item in self.graph.stages if item.id in chosen for rule, _ in item.against]
        if rules:
            return f"outside the protocol ({rules[0].id})"
        return "uses a stage that was declined"

    def _lost(self, course: Course, best: Course | None) -> str:
        if best is None or course is best:
            return ""
        reasons = []
        if not course.within_protocol:
            reasons.append(self._outside(course))
        if course.prosthetic:
            return "a different approach: to be shown in equal detail, not ranked by length"
        if best.prosthetic:
            return "; ".join(reasons) or "the protocol puts the prosthetic pathway first here"
        if self._excess(abs(course.residual_mm)) > self._excess(abs(best.residual_mm)):
            side = "longer" if course.residual_mm < 0 else "shorter"
            reasons.append(f"leaves the treated leg {abs(course.residual_mm):.0f} mm {side}")
        if course.operations > best.operations:
            more = course.operations - best.operations
            reasons.append(f"{more} more operation{'s' if more > 1 else ''}")
        elif course.operations == best.operations and course.device_months > best.device_months:
            reasons.append(f"{course.device_months - best.device_months:.1f} more months with a device")
        if course.arrest is not None and best.arrest is None:
            reasons.append(f"costs about {course.height_lost_mm:.0f} mm of adult height")
        heavier = self._burden(course) - self._burden(best)
        if course.operations < best.operations and heavier > 0:
            reasons.append(f"fewer operations, but {self._why_heavier(course, best)}")
        points = f"{abs(heavier):.0f} {'more' if heavier >= 0 else 'fewer'} points of burden"
        return "; ".join(reasons) or f"equal for the goal, {points}"


def _not_beaten(found: list[Course], accepted_mm: float, surest: float) -> list[Course]:
    """Return the courses with those marked that none within the protocol beats: less burden and a better chance.

    Burden is counted in operations, device months and adult height lost; chance is that of ending within the
    accepted difference, as it is stated: in whole parts of 100, so that noise of the draws decides nothing.
    """

    def weighed(course: Course) -> tuple[float, float, float, float]:
        ends = course.draws_mm if course.chance is None else course.chance.residual_mm
        chance = round(100 * min(float(np.mean(np.abs(ends) <= accepted_mm)), surest))
        return course.operations, round(course.device_months, 1), course.height_lost_mm, -chance

    own = [weighed(course) for course in found]
    eligible = [course.within_protocol and not course.prosthetic for course in found]
    rivals = [weight for weight, may in zip(own, eligible, strict=True) if may]

    def beaten(mine: tuple[float, ...]) -> bool:
        return any(rival != mine and all(a <= b for a, b in zip(rival, mine, strict=True)) for rival in rivals)

    return [
        replace(course, not_beaten=may and not beaten(mine))
        for course, may, mine in zip(found, eligible, own, strict=True)
    ]
