"""The same invented lives treated in several ways: by the policy, by today's course, and by one who knows the future.

A patient is worked out once on the first day: posterior, programme, policy, today's recommended course. Each way then
treats the same life: films at half-yearly visits, growth fitted to them, troubles as they come.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from pathway.courses.arrest_options import arrest_effects
from pathway.courses.course import Course, limits_at
from pathway.courses.policy.actions import WAIT, Action, Codes
from pathway.courses.policy.child import ChildProgramme, programme_of
from pathway.courses.policy.induction import Solved
from pathway.courses.policy.policy import Policy, best_policy
from pathway.courses.policy.programme import Floats
from pathway.courses.problem import CentralGrowth, CourseProblem
from pathway.days import age_years
from pathway.growth import Posterior, fit_growth, outlook
from pathway.protocol.model import Bone, Protocol
from pathway.protocol.question import Question
from pathway.protocol.roles import lengthenings
from pathway.rule_engine.facts import known_steps
from tests.courses.childhood import (
    BORN,
    DRAWS_LATER,
    GROWN_AFTER_YEARS,
    OLDEST,
    YOUNGEST,
    invent,
    nothing_soon,
    plan,
    ranked_courses,
)
from tests.courses.one_life import Life, Luck
from tests.growth.protocols import with_value


@dataclass(frozen=True, eq=False)
class Patient:
    """An invented child on the first day, with what each way of planning makes of it."""

    seed: int
    number: int
    protocol: Protocol
    question: Question
    problem: CourseProblem
    course: Course
    child: ChildProgramme
    policy: Policy

    @property
    def ages(self) -> Floats:
        """Return the ages of the programme's visits; the first and the last bound what is charged."""
        return self.child.programme.age_years

    @property
    def few(self) -> Protocol:
        """Return the rules with fewer draws, which are enough for a later visit."""
        return with_value(self.protocol, "growth_draws", DRAWS_LATER)

    def life(self, life: int) -> Life:
        """Return a life of this child on its first day."""
        luck = Luck.of(self.seed, self.number, life)
        return Life.begin(self.protocol, self.question, self.problem.growth.posterior, luck)


class Ended(NamedTuple):
    """What became of a life; `apart_practice` is the cost without what leaving published practice is charged."""

    cost: float
    apart_practice: float
    planned: float
    unplanned: float
    device_months: float
    months_over: float
    harm: float
    within_10: float
    within_20: float
    lengthenings: float
    left_mm: float


@dataclass(frozen=True)
class Told:
    """A life as it ended, with what was done and every hard limit that was broken."""

    ended: Ended
    life: Life
    breaches: tuple[str, ...]


def patient(
    protocol: Protocol, seed: int, number: int, ages: tuple[float, float] = (YOUNGEST, OLDEST)
) -> Patient | None:
    """Return the invented child of a number; None where no road with lengthenings is recommended on the first day."""
    record, on = invent(protocol, np.random.default_rng((seed, number)), ages)
    found = plan(record, protocol, on, seed=number)
    if found is None:
        return None
    problem, course = found
    question = Question(record, protocol, on)
    child = programme_of(problem, question)
    if child is None:
        return None
    return Patient(seed, number, protocol, question, problem, course, child, best_policy(child.programme))


class State(NamedTuple):
    """What a visit finds before its film. `since` are visits since the last lengthening, None where there was none."""

    arrested: bool
    stopped: bool
    done: int
    since: int | None
    joint: int
    gained_mm: float


class LookUp:
    """The one place that reads a policy's tables."""

    def __init__(self, solved: Solved) -> None:
        self.solved, self.given = solved, solved.programme

    def choices(self, visit: int, state: State) -> Codes | None:
        """Return what the policy does by class and forecast, or None where it waits whatever these are."""
        level, given, places = self._level(state.stopped, state.done), self.given, self.solved.layout
        if level is None or (state.arrested, level) not in self.solved.choices[visit]:
            return None
        here, table = places.levels[level], self.solved.choices[visit][state.arrested, level]
        waited = given.waits - 1 if state.since is None else min(state.since, given.waits - 1)
        slot = int(places.of[visit][state.arrested, level][waited])
        if slot < 0:
            return None
        joint = here.joints.index(state.joint) if state.joint in here.joints else 0
        codes: Codes = table[slot, self.gained(state) - here.low, joint]
        return codes if codes.any() else None

    def action(self, visit: int, state: State, mature_mm: float, tempo: int) -> Action:
        """Return what the policy does in the nearest state of its tables.

        `mature_mm` is the difference to be expected if nothing more is done, `tempo` the likeliest class.
        """
        codes, given = self.choices(visit, state), self.given
        if codes is None:
            return Action(WAIT)
        # What the grid of gains cannot say is left to the forecast, so that the difference stays what it is.
        off_mm = mature_mm + given.grid_mm * self.gained(state) - given.forecast.mean_mm
        forecast = int(np.clip(round(off_mm / given.grid_mm) + given.forecast.below, 0, codes.shape[1] - 1))
        return self.solved.actions[int(codes[tempo if len(codes) > 1 else 0, forecast])]

    def gained(self, state: State) -> int:
        """Return the steps of gain in the tables nearest to what a state has."""
        level = self._level(state.stopped, state.done)
        assert level is not None
        here = self.solved.layout.levels[level]
        return int(np.clip(round(state.gained_mm / self.given.grid_mm), here.low, here.high))

    def _level(self, stopped: bool, done: int) -> int | None:
        places = self.solved.layout
        if stopped:
            return places.stopped
        levels = [at for at, level in enumerate(places.levels) if level.done == done]
        return levels[0] if levels else None


def by_policy(patient: Patient, number: int) -> Life:
    """Treat a life by the policy of the first day, asked at each visit with what growth is then known to be."""
    life = patient.life(number)
    first = patient.problem.growth.posterior

    def known(visit: int, day: datetime.date | None) -> Posterior:
        return first if day is None else _fitted(life, patient, day)

    return _follow(life, patient, patient.child, patient.policy.solved, known, films=True)


def by_foresight(patient: Patient, number: int) -> Life:
    """Treat a life by the policy of one who knows how the child will grow (troubles stay open)."""
    life = patient.life(number)
    truth, ages = life.truth, patient.problem.grid.age_years
    central = outlook(truth, (), ages)
    growth = CentralGrowth(
        truth,
        central,
        arrest_effects(truth, float(ages[0]), float(ages[-1])),
        central.discrepancy_mm[0],
        float(central.at_maturity()[0]),
    )
    child = programme_of(replace(patient.problem, growth=growth), patient.question)
    assert child is not None
    solved = best_policy(child.programme).solved
    return _follow(life, patient, child, solved, lambda _visit, _day: _so_far(life), films=False)


def by_course(patient: Patient, number: int) -> Life:
    """Treat a life by today's course of the first day as it stands; a family that stops lengthens no more."""
    life, course = patient.life(number), patient.course
    _do(life, course, -np.inf, np.inf)
    return life


def by_course_again(patient: Patient, number: int) -> Life:
    """Treat a life by today's course, searched again at every visit at which something may be due.

    Where a course has nothing to come, it is searched again when the difference to be expected has moved by a step.
    """
    life, months = patient.life(number), int(patient.protocol.number("next_visit_months"))
    age, visit = age_years(BORN, patient.question.on), 0
    course: Course | None = patient.course
    settled_mm: float | None = None
    ends = patient.protocol.number("plan_ends_at_years")
    grown = patient.problem.growth.posterior.mature_age_years + GROWN_AFTER_YEARS
    while True:
        _do_until(life, course, age + months / 12)
        age, visit = age + months / 12, visit + 1
        nothing_left = course is None or life.stopped or not course.lengthenings
        if age > ends or (age > grown and nothing_left) or (life.stopped and life.arrested):
            return life
        day = life.see(visit, age)
        if any(operation.date > day for operation in life.record.operations):
            course = None
            continue
        if nothing_soon(course, age_years(BORN, day)):
            continue
        if course is not None and not course.lengthenings and course.arrest is None:
            expected_mm = float(outlook(_fitted(life, patient, day)).at_maturity().mean())
            if settled_mm is not None and abs(expected_mm - settled_mm) < patient.problem.grid.step_mm:
                continue
            settled_mm = expected_mm
        course = _searched(life, patient, day)


WAYS: dict[str, Callable[[Patient, int], Life]] = {
    "policy": by_policy,
    "course_again": by_course_again,
    "course_once": by_course,
    "foresight": by_foresight,
}


def lived(patient: Patient, number: int, way: str) -> Told:
    """Return how a life ends in one of the WAYS."""
    life = WAYS[way](patient, number)
    cost, months = life.cost(float(patient.ages[0]), float(patient.ages[-1]))
    left = life.left_mm()
    near, wide = (abs(left) <= patient.protocol.number(name) for name in ("goal_band_mm", "goal_accepted_mm"))
    ended = Ended(
        cost=cost,
        apart_practice=cost - life.practice,
        planned=life.planned,
        unplanned=life.unplanned,
        device_months=life.device_months,
        months_over=months,
        harm=life.harm,
        within_10=float(near),
        within_20=float(wide),
        lengthenings=float(len(life.lengthened)),
        left_mm=left,
    )
    within = [f"arrest within a device at {one.age_years:.2f}" for one in life.arrested if one.within_device]
    return Told(ended, life, (*life.breaches, *within))


def _follow(
    life: Life,
    patient: Patient,
    child: ChildProgramme,
    solved: Solved,
    known: Callable[[int, datetime.date | None], Posterior],
    *,
    films: bool,
) -> Life:
    """Do at each visit what a policy says for what is `known` by its film, a planning lead before the day itself."""
    look, ages = LookUp(solved), child.programme.age_years
    lead_years = patient.protocol.number("planning_lead_days") / 365.25
    last: int | None = None
    for visit in range(child.programme.steps):
        age, day = float(ages[visit]), None
        if visit and films:
            day = life.see(visit, age - lead_years)
        state = State(
            arrested=bool(life.arrested),
            stopped=life.stopped,
            done=len(life.lengthened),
            since=None if last is None else visit - last,
            joint=life.joint,
            gained_mm=life.gained_mm,
        )
        if look.choices(visit, state) is None:
            continue
        posterior = known(visit, day)
        mature_mm = float(outlook(posterior).at_maturity().mean())
        action = look.action(visit, state, mature_mm, nearest_tempo(child, posterior, visit))
        if action.amount >= 0:
            if not _lengthen(life, patient, child, posterior, visit, look.gained(state), action):
                continue
            last = visit
        if action.plates >= 0:
            life.arrest(child.plates[action.plates], age)
    return life


def nearest_tempo(child: ChildProgramme, posterior: Posterior, visit: int) -> int:
    """Return the class whose long leg has as much of its growth left, by its share, as the child's."""
    legs = child.programme.tempo.long_leg_mm
    age = float(child.programme.age_years[visit])
    alone = outlook(replace(posterior, known_steps=()), (), np.array([age]))
    left = 1 - float((alone.lengths("long_leg")[:, 0] / alone.at_maturity("long_leg")).mean())
    return int(np.argmin(np.abs(1 - legs[:, visit] / legs[:, -1] - left)))


def _lengthen(
    life: Life,
    patient: Patient,
    child: ChildProgramme,
    posterior: Posterior,
    visit: int,
    gained: int,
    action: Action,
) -> bool:
    """Lengthen the bone whose turn it is by what its limit leaves of an amount; return whether it was done."""
    number, age = len(life.lengthened) + 1, float(child.programme.age_years[visit])
    bone = child.bones[number - 1]
    if age < life.free_from(bone) - 1e-6:
        return False
    amounts = child.programme.lengthenings[0].amounts_mm
    central = outlook(posterior.central(), (), np.array([age]))
    step, least = patient.problem.grid.step_mm, float(amounts[0])
    limits = limits_at(patient.protocol, lengthenings(bone, patient.protocol)[0].id, age, _mm(central, bone))
    most = min(limit.limit_mm for limit in limits if not limit.rule.warns)
    amount = min(float(amounts[action.amount]), step * float(np.floor(most / step + 1e-9)))
    if amount < least - 1e-9:
        return False
    life.lengthen(bone, age, amount, child.device_of(visit, action.amount, number, gained))
    return True


def _mm(central: object, bone: Bone) -> float:
    return float(getattr(central, f"short_{bone}_mm")[0, 0])


def _fitted(life: Life, patient: Patient, day: datetime.date) -> Posterior:
    question = Question(life.record, patient.few, day)
    posterior = fit_growth(question, seed=patient.number, known_steps=known_steps(question))
    assert posterior is not None
    return posterior


def _searched(life: Life, patient: Patient, day: datetime.date) -> Course | None:
    """Return today's course on a day; of those without a lengthening where the family has stopped."""
    if not life.stopped:
        again = plan(life.record, patient.few, day, seed=patient.number, stays=True)
        return again[1] if again else None
    ranked = ranked_courses(life.record, patient.few, day, seed=patient.number)
    found = ranked[1] if ranked else ()
    return next((course for course in found if not course.prosthetic and not course.lengthenings), None)


def _so_far(life: Life) -> Posterior:
    """Return the truth with what was done."""
    return replace(life.truth, known_steps=(*life.truth.known_steps, *life.steps))


def _do_until(life: Life, course: Course | None, until: float) -> None:
    """Do what a course has before the next visit; an arrest that the next plan would come too late for is booked."""
    number = life.protocol.number
    booked = until + number("planning_lead_days") / 365.25 + number("age_grid_months") / 12
    if course is not None:
        _do(life, course, until, booked)


def _do(life: Life, course: Course, until: float, booked: float) -> None:
    """Do a course's lengthenings before an age (all of them at -inf) and its arrest before another, in order."""
    todo: list[tuple[float, int]] = [
        (item.age_years, at)
        for at, item in enumerate(course.lengthenings)
        if until == -np.inf or item.age_years < until - 1e-6
    ]
    if course.arrest is not None and course.arrest.age_years < booked and not life.arrested:
        todo.append((course.arrest.age_years, -1))
    for _, at in sorted(todo):
        if at >= 0 and not life.stopped:
            item = course.lengthenings[at]
            life.lengthen(item.bone, item.age_years, item.amount_mm)
        elif at < 0 and course.arrest is not None:
            life.arrest(course.arrest.physes, course.arrest.age_years)
