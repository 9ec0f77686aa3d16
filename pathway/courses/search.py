"""The ages and amounts that come nearest to equal legs, for each number of lengthenings with and without arrest.

The exact optimum on the central growth projection.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np

from pathway.courses.course import Arrest, Course, Lengthening
from pathway.courses.grid_search import Numbers, Solution, Step, cheapest, least
from pathway.courses.problem import REACH, CourseProblem
from pathway.protocol.model import Bone

Found = tuple[int, tuple[Step, ...], Arrest | None]
"""The cost of the best way for given numbers, its steps, and its growth arrest."""


@dataclass(frozen=True, slots=True)
class Choice:
    """The best lengthenings and growth arrest for given numbers, and their points (whole, hundredths)."""

    lengthenings: tuple[Lengthening, ...]
    arrest: Arrest | None
    points: int


class CourseSearch:
    """The search of one child over the problem of each way of lengthening, each grid solved once."""

    def __init__(self, problems: tuple[CourseProblem, ...]) -> None:
        self.problems = problems
        self._solvers = tuple(_Solver(problem) for problem in problems)

    @property
    def problem(self) -> CourseProblem:
        """Return the problem of the ways of lengthening that rank first; what no way changes is read from it."""
        return self.problems[0]

    def problem_of(self, course: Course) -> CourseProblem:
        """Return the problem of the ways in which a course lengthens; the first one where it lengthens nothing."""
        kinds = {item.kind for item in course.lengthenings}
        return next(one for one in self.problems if kinds <= {bone.kind.id for bone in one.bones if bone.kind})

    def numbers(self, bone: Bone) -> range:
        """Return how many lengthenings of a bone may be tried, in whichever way."""
        ranges = [problem.of(bone).numbers for problem in self.problems]
        return range(min(own.start for own in ranges), max(own.stop for own in ranges))

    def best(self, femoral: int, tibial: int, *, arrested: bool) -> Choice | None:
        """Return the lengthenings and arrest that come nearest to equal legs, with the fewest points among equals.

        None where that many lengthenings, or an arrest, have no place in the windows and limits. Equal again,
        the arrest comes first that closes fewer plates and corrects less. A way of lengthening within the protocol
        comes before one outside it, and of equal ways the one that ranks first.
        """
        ways = []
        for place, solver in enumerate(self._solvers):
            problem = solver.problem
            numbers = (femoral, tibial) if problem.first.bone == "femur" else (tibial, femoral)
            found = solver.best(numbers, arrested=arrested)
            if found is not None:
                chosen = problem.lengthenings(found[1])
                outside = any(not problem.graph.stage(item.stage).within_protocol for item in chosen)
                ways.append((outside, found[0], place, Choice(chosen, found[2], found[0] % REACH)))
        return min(ways, key=lambda way: way[:3])[3] if ways else None


class _Solver:
    """One problem with every grid that was solved for it."""

    def __init__(self, problem: CourseProblem) -> None:
        self.problem = problem
        self._solved: dict[Arrest | None, Solution] = {}
        self._bound: Solution | None = None

    def best(self, numbers: Numbers, *, arrested: bool) -> Found | None:
        """Return the best way for given numbers of lengthenings, with a growth arrest or without."""
        return self._best_arrest(numbers) if arrested else self._best(numbers, None)

    def _best(self, numbers: Numbers, arrest: Arrest | None) -> Found | None:
        found = cheapest(self._solution(arrest), numbers, self.problem.score(arrest))
        return None if found is None else (*found, arrest)

    def _best_arrest(self, numbers: Numbers) -> Found | None:
        """Return the best of all arrests: those first whose lower bound is lowest, until no bound is lower."""
        bound, arrests = self._lower_bound(), self.problem.arrests
        bounds = [(least(bound, numbers, self.problem.score(arrest)), at) for at, arrest in enumerate(arrests)]
        waiting = [(low, at) for low, at in bounds if low is not None]
        heapq.heapify(waiting)
        found: list[tuple[int, int, tuple[Step, ...]]] = []
        while waiting and (not found or waiting[0] < min(found)[:2]):
            _, at = heapq.heappop(waiting)
            here = self._best(numbers, arrests[at])
            if here is not None:
                found.append((here[0], at, here[1]))
        if not found:
            return None
        value, at, steps = min(found, key=lambda item: item[:2])
        return value, steps, arrests[at]

    def _solution(self, arrest: Arrest | None) -> Solution:
        if arrest not in self._solved:
            self._solved[arrest] = Solution(self.problem.on_grid(self.problem.over(arrest)))
        return self._solved[arrest]

    def _lower_bound(self) -> Solution:
        """Return the solution that counts a month as large only where every arrest leaves it large."""
        if self._bound is None:
            arrests = self.problem.arrests
            always = [self.problem.over(arrest) for arrest in arrests] or [self.problem.over(None)]
            self._bound = Solution(self.problem.on_grid(np.min(always, axis=0)))
        return self._bound
