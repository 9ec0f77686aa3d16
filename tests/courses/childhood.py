"""One invented child lived through: a plan made anew at every visit, and done as planned, until growth ends.

The truth is one future of the posterior on the first day. Each lengthening gains its amount give or take the error of
the rules, and slows later growth as that future says.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field

import numpy as np

from pathway.courses.course import Course, Lengthening, limits_at
from pathway.courses.course_outcome import chance_of
from pathway.courses.problem import CourseProblem, course_problems
from pathway.courses.ranking import courses
from pathway.courses.search import CourseSearch
from pathway.days import age_years, day_at_age
from pathway.growth import PHYSES, Posterior, Step, fit_growth, growth_curve, outlook
from pathway.network import Conflict
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Child, Operation, Record, Sex, Visit
from pathway.rule_engine.classify import classify, with_classes
from pathway.rule_engine.facts import facts_on, known_steps
from pathway.rule_engine.staging import stage
from pathway.timing.calendar import calendar_of, free_day
from pathway.timing.rule_links import device_days
from pathway.timing.windows import stage_windows
from tests.growth.futures import film, future, lengths_at
from tests.growth.protocols import with_value
from tests.sample import HEALTHY, visit

BORN = datetime.date(2015, 1, 5)
DIAGNOSIS = "congenital_femoral_deficiency"
DRAWS_LATER = 100
YOUNGEST, OLDEST = 2.0, 12.0
GROWN_AFTER_YEARS = 2.0
LOOK_AHEAD_YEARS = 1.5


@dataclass(frozen=True)
class Lived:
    """What was promised on the first day and what came of it; lengths in mm, chances from 0 to 1."""

    number: int
    sex: str
    age_years: float
    visits: int
    predicted_mm: float
    course: str
    chance_10: float
    chance_20: float
    as_planned_10: float
    as_planned_20: float
    residual_mm: float
    known_left_mm: float
    foreseen_lengthenings: float
    lengthenings: int
    breaches: int
    done: tuple[str, ...]
    spread: tuple[float, ...]


@dataclass
class _Life:
    protocol: Protocol
    few: Protocol
    truth: Posterior
    rng: np.random.Generator
    record: Record
    steps: list[Step] = field(default_factory=list)
    breaches: int = 0
    done: list[str] = field(default_factory=list)


def live(protocol: Protocol, seed: int, number: int, ages: tuple[float, float] = (YOUNGEST, OLDEST)) -> Lived | None:
    """Return how the child of that number fares, or None where no course with amounts is recommended on the first day.

    `ages` are the youngest and the oldest on that day, years.
    """
    rng = np.random.default_rng((seed, number))
    record, on = invent(protocol, rng, ages)
    found = plan(record, protocol, on, seed=number)
    if found is None:
        return None
    problem, course = found
    promised = chance_of(course, problem, seed=number)
    posterior = problem.growth.posterior
    truth = future(posterior, int(rng.integers(posterior.draws)))
    life = _Life(protocol, with_value(protocol, "growth_draws", DRAWS_LATER), truth, rng, record)
    months = int(protocol.number("next_visit_months"))
    age = age_years(BORN, on)
    due: Course | None = course
    known_left = course.residual_mm
    grown = posterior.mature_age_years + GROWN_AFTER_YEARS
    ends = max(protocol.number("plan_ends_at_years"), age)
    while True:
        _operate(life, due, age, age + months / 12)
        age += months / 12
        nothing_left = due is None or not due.lengthenings
        if age > ends or (age > grown and nothing_left):
            break
        day = day_at_age(BORN, age)
        age_then = age_years(BORN, day)
        seen = film(truth, life.steps, day, age_then, life.record, protocol, rng, HEALTHY)
        life.record = _seen_again(life.record, seen)
        if any(operation.date > day for operation in life.record.operations):
            due = None
            continue
        if nothing_soon(due, age_then):
            continue
        again = plan(life.record, life.few, day, seed=number, stays=True)
        due = again[1] if again else None
        known_left = due.residual_mm if due else problem.growth.predicted_mm
    left = float(outlook(truth, life.steps).at_maturity()[0])
    return Lived(
        number=number,
        sex=record.child.sex,
        age_years=round(age_years(BORN, on), 2),
        visits=len(record.visits),
        predicted_mm=round(problem.growth.predicted_mm, 1),
        course=course.id,
        chance_10=promised.within(10),
        chance_20=promised.within(20),
        as_planned_10=float(np.mean(np.abs(course.draws_mm) <= 10)),
        as_planned_20=float(np.mean(np.abs(course.draws_mm) <= 20)),
        residual_mm=round(left, 1),
        known_left_mm=round(known_left, 1),
        foreseen_lengthenings=float(promised.lengthenings.mean()),
        lengthenings=sum(step.adds_mm > 0 for step in life.steps),
        breaches=life.breaches,
        done=tuple(life.done),
        spread=tuple(float(q) for q in np.quantile(promised.residual_mm, [0.05, 0.25, 0.5, 0.75, 0.95])),
    )


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
    steps = known_steps(Question(record, protocol, on))
    posterior = fit_growth(Question(record, protocol, on), seed=seed, known_steps=steps)
    if posterior is None:
        return None
    facts = facts_on(Question(record, protocol, on), outlook(posterior))
    graph = stage(with_classes(facts, classify(facts, protocol)), Question(record, protocol, on))
    timeline = stage_windows(graph, Question(record, protocol, on))
    if isinstance(timeline, Conflict):
        return None
    search = CourseSearch(course_problems(graph, timeline, posterior, Question(record, protocol, on)))
    return search, courses(search, chances=False)


def _seen_again(record: Record, visit: Visit) -> Record:
    """Return the record with one more visit; of the visit before only the lengths are kept, which is quicker."""
    before = record.visits[-1]
    lengths = tuple(m for m in before.measurements if m.finding.endswith("_length_mm"))
    kept = before.model_copy(update={"measurements": lengths})
    return record.model_copy(update={"visits": (*record.visits[:-1], kept, visit)})


def nothing_soon(course: Course | None, now: float) -> bool:
    """Return whether the last plan has operations to come, but none so near that this visit decides on it."""
    if course is None:
        return False
    ages = [item.age_years for item in course.lengthenings] + ([course.arrest.age_years] if course.arrest else [])
    return min(ages, default=now) > now + LOOK_AHEAD_YEARS


def _operate(life: _Life, course: Course | None, now: float, until: float) -> None:
    """Do what the course has before the next visit, in order."""
    if course is None:
        return
    for item in course.lengthenings:
        if item.age_years < until - 1e-6:
            _lengthen(life, item)
    # A growth arrest that the next plan would come too late for is booked now.
    number = life.protocol.number
    bookable = until + number("planning_lead_days") / 365.25 + number("age_grid_months") / 12
    if course.arrest is not None and course.arrest.age_years < bookable:
        arrest = course.arrest
        day = free_day(day_at_age(BORN, arrest.age_years), calendar_of(life.record, life.protocol))
        age = age_years(BORN, day)
        life.steps += [Step("long", PHYSES[plate], age, stops=(plate,)) for plate in arrest.physes]
        side = life.record.other_side
        _add(life, Operation(kind=arrest.stage, date=day, side=side, physes=arrest.physes))
        life.done.append(f"{age:.2f} arrest {arrest.effect_mm:.0f}")


def _lengthen(life: _Life, item: Lengthening) -> None:
    day = free_day(day_at_age(BORN, item.age_years), calendar_of(life.record, life.protocol))
    age = age_years(BORN, day)
    true_mm = lengths_at(life.truth, life.steps, age)["short", item.bone]
    # The limit counts for the bone as the plan knows it; five in a hundred is more than its film can be wrong.
    for known_mm, slack in ((item.bone_mm, 1e-6), (true_mm, 0.05 * item.amount_mm + 5.0)):
        limits = limits_at(life.protocol, item.kind, item.age_years, known_mm)
        if any(item.amount_mm > limit.limit_mm + slack for limit in limits if not limit.rule.warns):
            life.breaches += 1
    error = life.protocol.number("lengthening_gain_error_sd_mm") * life.rng.standard_normal()
    life.steps.append(Step("short", item.bone, age, adds_mm=max(item.amount_mm + error, 1.0)))
    removed = day + datetime.timedelta(days=device_days(life.protocol, item.bone, item.amount_mm))
    _add(
        life,
        Operation(
            kind=item.kind,
            date=day,
            side=life.record.affected_side,
            achieved_mm=item.amount_mm,
            device_removed=removed,
        ),
    )
    life.done.append(f"{age:.2f} {item.bone} {item.amount_mm:.0f}")


def _add(life: _Life, operation: Operation) -> None:
    life.record = life.record.model_copy(update={"operations": (*life.record.operations, operation)})


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
