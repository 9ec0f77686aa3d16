"""The earlier way of planning, kept to be compared with: each number of lengthenings on the central projection.

An exact search (`pathway.courses.search`) as if every step worked, ranked by operations and points: nearest to equal
legs, then the least burden. Limits of print that are soft now were hard then, and are taken as hard here.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from pathway.courses.course import (
    Course,
)
from pathway.courses.lengthening_options import POINT
from pathway.courses.ranking import a_bone_is_outside, course_of, prosthetic_course
from pathway.courses.search import CourseSearch
from pathway.protocol.model import Protocol

HARD_THEN = (
    "femoral_lengthening.young_60mm",
    "femoral_lengthening.share_30",
    "tibial_lengthening.young_50mm",
    "tibial_lengthening.share_30",
)


def as_it_was(protocol: Protocol) -> Protocol:
    """Return the rules with the limits that were hard then."""
    limits = tuple(
        rule.model_copy(update={"warns": False}) if rule.id in HARD_THEN else rule for rule in protocol.amount_limits
    )
    return protocol.model_copy(update={"amount_limits": limits})


def searched_courses(search: CourseSearch) -> tuple[Course, ...]:
    """Return the best course for each number of lengthenings with and without growth arrest, best first."""
    return _Strategist(search).ranked()


class _Strategist:
    def __init__(self, search: CourseSearch) -> None:
        self.search, self.problem = search, search.problem
        self.graph, self.protocol = self.problem.graph, self.problem.protocol
        self.may_arrest = any(item.state == "optional" for item in self.graph.of_role("growth_arrest"))

    def ranked(self) -> tuple[Course, ...]:
        found = list(self._all())
        wishes = self.problem.wishes
        found.sort(key=lambda course: self._key(course, wishes.prefer))
        best = next((c for c in found if c.id == wishes.course), None)
        best = best or next((c for c in found if c.within_protocol), None)
        ordered = sorted(found, key=lambda course: course is not best)
        return tuple(replace(course, recommended=course is best) for course in ordered)

    def _all(self) -> Iterator[Course]:
        most = self.problem.wishes.at_most_lengthenings
        for femoral in self.search.numbers("femur"):
            for tibial in self.search.numbers("tibia"):
                if most is not None and femoral + tibial > most:
                    continue
                for arrested in (False, True) if self.may_arrest else (False,):
                    best = self.search.best(femoral, tibial, arrested=arrested)
                    if best is not None:
                        yield replace(
                            course_of(self.problem, best.lengthenings, best.arrest), points=best.points / POINT
                        )
        if any(item.state == "optional" for item in self.graph.of_role("prosthetic_alternative")):
            yield prosthetic_course(self.problem)

    def _key(self, course: Course, preferences: frozenset[str]) -> tuple[float | int | bool | str, ...]:
        left = abs(course.residual_mm)
        reach = (0.0 if a_bone_is_outside(self.graph) else math.inf) if course.prosthetic else self._excess(left)
        avoid = "no_growth_arrest" in preferences and course.arrest is not None
        few = course.operations if "fewest_operations" in preferences else 0
        device = course.device_months if "least_device_time" in preferences else 0.0
        accepted = self.protocol.number("goal_accepted_mm")
        wishing = bool(preferences & {"fewest_operations", "least_device_time"})
        wished = (few, device) if left <= accepted or course.prosthetic else (math.inf, math.inf)
        return (
            not course.within_protocol,
            avoid,
            *(wished if wishing else (0, 0.0)),
            reach if math.isinf(reach) else round(reach),
            self._burden(course),
            course.operations,
            course.id,
        )

    def _burden(self, course: Course) -> float:
        """Return operations and points as one number of points, by the weight of the rules."""
        return round(course.points + self.protocol.number("weight_operation") * course.operations, 2)

    def _excess(self, left_mm: float) -> float:
        return float(self.problem.excess(np.array(left_mm)))
