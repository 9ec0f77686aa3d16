"""What a plan states of a child on the first day, and what comes of lives lived by its policy.

Growth, films and troubles are those of `one_life`; stated is what the recommended course tells of itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pathway.courses.course import Course
from pathway.courses.policy.child import programme_of
from pathway.courses.policy.harms import COUNTED
from pathway.courses.policy.policy import best_policy
from pathway.courses.ranking import courses
from pathway.growth import fit_growth
from pathway.network import Conflict
from pathway.plan.make import problems_of
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.rule_engine.facts import known_steps
from tests.courses.childhood import OLDEST, YOUNGEST, invent
from tests.courses.policy_lives import Patient, by_policy

CHANCES = ("within_10", "within_20")
NUMBERS = ("operations", "unplanned")
MEASURES = (*CHANCES, *NUMBERS, *COUNTED)
"""Chances are parts of 1, numbers and outcomes expected numbers."""


@dataclass(frozen=True)
class StatedChild:
    """One child: what is stated of each of the MEASURES, what each life came to, the limits that were broken."""

    number: int
    stated: dict[str, float]
    lived: tuple[dict[str, float], ...]
    breaches: tuple[str, ...]
    lengthened: bool


def stated_child(protocol: Protocol, seed: int, number: int, lives: int) -> StatedChild | None:
    """Return an invented child with so many lives; None where nothing for length is recommended and worked out."""
    record, day = invent(protocol, np.random.default_rng((seed, number)), (YOUNGEST, OLDEST))
    question = Question(record, protocol, day).as_known()
    posterior = fit_growth(question, seed=number, known_steps=known_steps(question))
    if posterior is None:
        return None
    problems = problems_of(question, posterior)
    if isinstance(problems, Conflict) or not problems:
        return None
    course = next((one for one in courses(problems, question, compared=False) if one.recommended), None)
    if course is None or course.ends is None:
        return None
    for problem in problems:
        child = programme_of(problem, question)
        if child is None:
            continue
        policy = best_policy(child.programme)
        if abs(policy.value - course.points) < 1e-6:
            treated = Patient(seed, number, protocol, question, problem, course, child, policy)
            return _lived(treated, course, lives)
    return None


def _lived(child: Patient, course: Course, lives: int) -> StatedChild:
    found, breaches = [], []
    limits = [child.protocol.number(name) for name in ("goal_band_mm", "goal_accepted_mm")]
    for number in range(lives):
        life = by_policy(child, number)
        left = abs(life.left_mm())
        near = dict(zip(CHANCES, (float(left <= limit) for limit in limits), strict=True))
        counts = {"operations": life.planned + life.unplanned, "unplanned": life.unplanned}
        found.append(near | counts | {name: float(events) for name, events in life.outcomes.items()})
        breaches += life.breaches
        breaches += [f"arrest in a device at {one.age_years:.2f}" for one in life.arrested if one.within_device]
    return StatedChild(child.number, _stated(course), tuple(found), tuple(breaches), bool(course.lengthenings))


def _stated(course: Course) -> dict[str, float]:
    ends = course.ends
    assert ends is not None
    harms = {harm.id: harm.of_100 / 100 for harm in ends.harms}
    counts = {"operations": ends.counts.operations.mean, "unplanned": ends.counts.unplanned.mean}
    return dict(zip(CHANCES, ends.within, strict=True)) | counts | {name: harms.get(name, 0.0) for name in COUNTED}
