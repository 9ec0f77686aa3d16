"""Invented children ready for surgery, and the noise-free course of each on a day."""

from __future__ import annotations

import datetime

import numpy as np

from pathway.courses.course import Course
from pathway.courses.problem import CourseProblem, course_problems
from pathway.courses.search import CourseSearch
from pathway.days import age_years, day_at_age
from pathway.growth import Posterior, fit_growth, growth_curve, outlook
from pathway.network import Conflict
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Child, Record, Sex
from pathway.rule_engine.classify import classify, with_classes
from pathway.rule_engine.facts import facts_on, known_steps
from pathway.rule_engine.staging import stage
from pathway.timing.windows import stage_windows
from tests.courses.noise_free import as_it_was, searched_courses
from tests.growth.futures import film, future
from tests.growth.protocols import with_value
from tests.sample import HEALTHY, visit

BORN = datetime.date(2015, 1, 5)
DIAGNOSIS = "congenital_femoral_deficiency"
DRAWS_LATER = 100
YOUNGEST, OLDEST = 2.0, 12.0
GROWN_AFTER_YEARS = 2.0
LOOK_AHEAD_YEARS = 1.5


def plan(
    record: Record, protocol: Protocol, on: datetime.date, *, seed: int, stays: bool = False
) -> tuple[CourseProblem, Course] | None:
    """Return the problem and the recommended course on a day, or None where there is none with amounts.

    A family that has begun to lengthen `stays` on that road when a prosthetic one is put first later.
    """
    ranked = ranked_courses(record, protocol, on, seed=seed)
    if ranked is None:
        return None
    search, found = ranked
    chosen = next((course for course in found if course.recommended), None)
    if stays and chosen is not None and chosen.prosthetic:
        chosen = next((course for course in found if course.lengthenings), None)
    return None if chosen is None or chosen.prosthetic else (search.problem_of(chosen), chosen)


def ranked_courses(
    record: Record, protocol: Protocol, on: datetime.date, *, seed: int
) -> tuple[CourseSearch, tuple[Course, ...]] | None:
    """Return the search and its courses on a day, best first, or None where nothing is known or rules conflict."""
    question = Question(record, as_it_was(protocol), on)
    posterior = fit_growth(question, seed=seed, known_steps=known_steps(question))
    if posterior is None:
        return None
    facts = facts_on(question, outlook(posterior))
    graph = stage(with_classes(facts, classify(facts, protocol)), question)
    timeline = stage_windows(graph, question)
    if isinstance(timeline, Conflict):
        return None
    search = CourseSearch(course_problems(graph, timeline, posterior, question))
    return search, searched_courses(search)


def nothing_soon(course: Course | None, now: float) -> bool:
    """Return whether the last plan has operations to come, but none so near that this visit decides on it."""
    if course is None:
        return False
    ages = [item.age_years for item in course.lengthenings] + ([course.arrest.age_years] if course.arrest else [])
    return min(ages, default=now) > now + LOOK_AHEAD_YEARS


def invent(protocol: Protocol, rng: np.random.Generator, ages: tuple[float, float]) -> tuple[Record, datetime.date]:
    """Return an invented child ready for surgery, with one to four visits, and the day of its first plan."""
    sex: Sex = "boy" if rng.random() < 0.5 else "girl"
    who = Child(id="invented", date_of_birth=BORN, sex=sex, affected_side="left", diagnosis=DIAGNOSIS)
    record = Record(child=who)
    age = float(rng.uniform(*ages))
    seen = [age - 0.5 * k for k in range(int(rng.integers(1, 5))) if age - 0.5 * k >= 1.0][::-1]
    truth = _first_truth(protocol, rng, record, seen[0])
    visits = tuple(
        film(truth, (), day_at_age(BORN, a), age_years(BORN, day_at_age(BORN, a)), record, protocol, rng, HEALTHY)
        for a in seen
    )
    return record.model_copy(update={"visits": visits}), day_at_age(BORN, age)


def _first_truth(protocol: Protocol, rng: np.random.Generator, record: Record, age: float) -> Posterior:
    """Return one future of a child whose lengths at its first visit are made up from published spreads."""
    curve = growth_curve(protocol, record.child.sex)
    kept = {"femur": float(rng.uniform(0.5, 0.95)), "tibia": float(rng.uniform(0.85, 1.0))}
    like = float(rng.standard_normal())
    items = {}
    for bone, share in kept.items():
        table = protocol.table(f"amg_1964_{bone}_{record.child.sex}s")
        mature = 10 * (table.column("mean")[-1] + like * table.column("sd")[-1])
        long = mature * float(curve.fraction(age))
        items[f"other.{bone}_length_mm"], items[f"affected.{bone}_length_mm"] = long, share * long
    first = record.model_copy(update={"visits": (visit(day_at_age(BORN, age), items),)})
    fitted = fit_growth(
        Question(first, with_value(protocol, "growth_draws", 2), day_at_age(BORN, age)), seed=int(rng.integers(1 << 30))
    )
    if fitted is None:
        raise RuntimeError("a child with lengths has a posterior")
    return future(fitted, 0)
