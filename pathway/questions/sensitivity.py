"""How firm a recommendation is: which single change would bring another one, and how likely that change is.

Two kinds: how the child will grow, asked of possible futures one by one, and how far a finding may be off, asked
by planning again with the finding on the other side of a threshold that it was compared with.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from pathway.courses.course import Arrest, Course
from pathway.courses.first_call import SAME_SITTING_YEARS
from pathway.growth import fit_growth, outlook
from pathway.network import Conflict
from pathway.plan.make import first_course, make_plan
from pathway.plan.make_programme import make_programme
from pathway.plan.model import Course as PlanCourse
from pathway.plan.model import Plan
from pathway.plan.other_reading import beyond, with_value
from pathway.plan.programme import Programme
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.protocol.roles import role_of
from pathway.protocol.units import STEPS
from pathway.protocol.words import lower_first
from pathway.rule_engine.facts import known_steps
from pathway.rule_engine.verdict import OPERATORS, Verdict

FUTURES = 40
"""How many possible futures are asked, evenly spread over the difference at maturity."""
LEAST_CHANCE = 0.01
NO_COURSE = "no course within the protocol"
FIRST_WOULD_BE = "the first choice would be"


@dataclass(frozen=True, slots=True)
class Turn:
    """One change that would bring another recommendation.

    `what` and `change` say it in words, `then` what would be recommended or planned instead, `chance` (0 to 1)
    how likely the change is: the share of possible futures, or how often a measurement with that error is off so
    far.
    """

    what: str
    change: str
    then: tuple[str, ...]
    chance: float

    @property
    def sentence(self) -> str:
        """Return the change, its chance and its effect in one sentence."""
        return f"{self.what} {self.change} (about {_of_100(self.chance)} of 100): {'; '.join(self.then)}."


@dataclass(frozen=True, slots=True)
class Robustness:
    """Changes that would bring another recommendation, the likeliest first, and how often growth leaves it alone.

    `stands` (0 to 1) is the share of possible futures in which the same kind of course stays first, `same_first` that
    in which the first operation stays the same kind, near in age and amount as the rules say; None without growth.
    `weighed` are the risks and weights that bring another first operation within their range, None where not asked.
    """

    stands: float | None
    turns: tuple[Turn, ...]
    same_first: float | None = None
    near_years: float = 0.0
    near_mm: float = 0.0
    weighed: tuple[str, ...] | None = None

    @property
    def first_words(self) -> str:
        """Return in a sentence how often growth leaves the first operation alone, "" where that is not known."""
        if self.same_first is None:
            return ""
        return (
            f"The first operation stays of the same kind, within {self.near_years:g} "
            f"{'year' if self.near_years == 1 else 'years'} and {self.near_mm / 10:g} cm, in about "
            f"{_of_100(self.same_first)} of 100 ways this child may grow."
        )

    @property
    def weighed_words(self) -> str:
        """Return in a sentence which risks and weights turn the first operation."""
        if self.weighed is None:
            return ""
        if not self.weighed:
            return "No risk at its published end and no weight x0.7 or x1.3 brings another first operation."
        return f"Another first operation comes with {'; '.join(self.weighed)}: a close call by what is weighed."


def robustness(question: Question, plan: Plan, *, seed: int = 0, weighed: bool = False) -> Robustness:
    """Return how firm the plan's recommendation is. Takes some seconds: it plans again for each change.

    With `weighed` every risk and weight is changed too, which takes some seconds more.
    """
    best, number = plan.recommended, question.protocol.number
    if best is None:
        return Robustness(None, ())
    near = number("same_choice_years"), number("same_choice_mm")
    stands, same_first, turns = _by_growth(question, best, near, seed)
    turns += list(_by_findings(question, plan, seed))
    turns.sort(key=lambda turn: (-turn.chance, turn.what))
    told = tuple(_by_weights(question)) if weighed else None
    return Robustness(stands, tuple(turns), same_first, *near, told)


def _by_weights(question: Question) -> Iterator[str]:
    """Yield the risks and weights, each at the ends of its range, that bring another first operation."""
    found = make_programme(question, turn=True)
    for turn in (found.turns or ()) if isinstance(found, Programme) else ():
        if turn.what == "weight" and turn.times is not None:
            yield f"{turn.id} x{turn.times:g}"
        elif turn.what == "risk":
            yield f"{turn.id} risks"


def _by_growth(
    question: Question, best: PlanCourse, near: tuple[float, float], seed: int
) -> tuple[float | None, float | None, list[Turn]]:
    known = question.as_known()
    posterior = fit_growth(known, seed=seed, known_steps=known_steps(known))
    if posterior is None:
        return None, None, []
    mature = outlook(posterior).at_maturity()
    order = np.argsort(mature, kind="stable")
    chosen = [int(order[int((k + 0.5) / FUTURES * len(order))]) for k in range(FUTURES)]
    first: dict[str, list[float]] = {}
    words: dict[str, str] = {}
    planned, alike = [(s.id, s.age_years, s.amount_mm or 0.0) for s in best.stages], 0
    for draw in chosen:
        course = first_course(question, posterior.one(draw))
        name, words_of = _named(course)
        first.setdefault(name, []).append(float(mature[draw]))
        words[name] = words_of
        alike += isinstance(course, Course) and same_first(planned, _operations(course), near)
    same = first.pop(best.id, [])
    turns = [_growth_turn(words[name], at, same) for name, at in first.items()]
    return len(same) / FUTURES, alike / FUTURES, turns


Operations = Sequence[tuple[str, float, float]]
"""Stages with their age and amount."""


def _operations(course: Course) -> Operations:
    found = [(item.stage, item.age_years, item.amount_mm) for item in course.lengthenings]
    return found if course.arrest is None else [*found, _arrest(course.arrest)]


def _arrest(arrest: Arrest) -> tuple[str, float, float]:
    return arrest.stage, arrest.age_years, arrest.effect_mm


def same_first(one: Operations, two: Operations, near: tuple[float, float]) -> bool:
    """Return whether two courses begin with the same stages, each near in age (years) and amount (mm)."""

    def first(of: Operations) -> dict[str, tuple[float, float]]:
        start = min((age for _, age, _ in of), default=0.0)
        return {stage: (age, mm) for stage, age, mm in of if age - start <= SAME_SITTING_YEARS}

    here, there = first(one), first(two)
    return here.keys() == there.keys() and all(
        abs(mine - its) <= limit + 1e-6
        for stage in here
        for mine, its, limit in zip(here[stage], there[stage], near, strict=True)
    )


def _named(course: Course | Conflict | None) -> tuple[str, str]:
    if isinstance(course, Conflict) or course is None:
        return "", NO_COURSE
    return course.id, course.summary


def _growth_turn(words: str, at: list[float], same: list[float]) -> Turn:
    low, high = min(at) / 10, max(at) / 10
    if same and min(at) > max(same):
        change = f"turns out above {low:.1f} cm"
    elif same and max(at) < min(same):
        change = f"turns out below {high:.1f} cm"
    else:
        change = f"turns out between {low:.1f} and {high:.1f} cm" if len(at) > 1 else f"turns out near {low:.1f} cm"
    return Turn("The difference at maturity", change, (f"{FIRST_WOULD_BE} {words}",), len(at) / FUTURES)


def _by_findings(question: Question, plan: Plan, seed: int) -> Iterator[Turn]:
    seen: set[tuple[str, str, float]] = set()
    for leaf in _leaves(plan):
        if leaf.finding is None or leaf.margin is None or not leaf.sd or leaf.comparison not in OPERATORS:
            continue
        rule = question.protocol.finding(leaf.finding)
        value = beyond(leaf, STEPS[rule.unit])
        side = question.record.affected_side if leaf.leg == "affected" else question.record.other_side
        key = (leaf.finding, side, value)
        chance = NormalDist().cdf(-abs(leaf.margin) / leaf.sd)
        if key in seen or chance < LEAST_CHANCE:
            continue
        seen.add(key)
        changed = with_value(question.record, leaf.finding, None if rule.of == "child" else side, value, question.on)
        if changed is None:
            continue
        then = tuple(_changes(plan, make_plan(question.about(changed), seed=seed, compared=False), question.protocol))
        if then:
            shown = f"{value:g} {rule.unit}".rstrip()
            now = f"{float(leaf.value or 0):g}"
            yield Turn(rule.label[0].upper() + rule.label[1:], f"is really {shown}, not {now}", then, chance)


def _leaves(plan: Plan) -> Iterator[Verdict]:
    judged = [item.reason.verdict for item in plan.considered]
    judged += [gate.verdict for stage in plan.stages for gate in stage.gates]
    for verdict in judged:
        if verdict is not None:
            yield from verdict.leaves()


def _changes(plan: Plan, other: Plan, protocol: Protocol) -> Iterator[str]:
    """Yield what another plan recommends or plans instead, in words; dates and amounts alone do not count."""
    one, two = plan.recommended, other.recommended
    if (one.id if one else "") != (two.id if two else ""):
        yield f"{FIRST_WOULD_BE} {two.summary if two else NO_COURSE}"
    here, there = _planned(plan, protocol), _planned(other, protocol)
    for id in sorted(here.keys() - there.keys()):
        yield f"{lower_first(here[id])} would drop out"
    for id in sorted(there.keys() - here.keys()):
        yield f"{lower_first(there[id])} would be planned"


def _planned(plan: Plan, protocol: Protocol) -> Mapping[str, str]:
    kinds = {course.id for course in plan.alternatives if course.recommended}
    chosen = {stage.id for course in plan.alternatives if course.id in kinds for stage in course.stages}
    # What the course itself holds, with what follows from it, is told by the course's name.
    return {
        stage.id: stage.label
        for stage in plan.stages
        if stage.date is not None
        and stage.operation
        and stage.status not in ("done", "under_way")
        and stage.id not in chosen
        and role_of(stage.kind, protocol) != "device_removal"
    }


def _of_100(chance: float) -> str:
    return f"{100 * chance:.0f}"
