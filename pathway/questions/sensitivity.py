"""How firm a recommendation is: which single change would bring another one, and how likely that change is.

Two kinds: how the child will grow, asked of possible futures one by one, and how far a finding may be off, asked
by planning again with the finding on the other side of a threshold that it was compared with.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from pathway.courses.course import Course
from pathway.growth import fit_growth, outlook
from pathway.network import Conflict
from pathway.plan.make import first_course, make_plan
from pathway.plan.model import Plan
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.protocol.roles import role_of
from pathway.questions.formula import STEPS
from pathway.record import Measurement, Record, Visit
from pathway.rule_engine.facts import known_steps
from pathway.rule_engine.verdict import OPERATORS, Verdict, on_side

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

    `stands` (0 to 1) is the share of possible futures in which the same course stays first; None without growth.
    """

    stands: float | None
    turns: tuple[Turn, ...]


def robustness(question: Question, plan: Plan, *, seed: int = 0) -> Robustness:
    """Return how firm the plan's recommendation is. Takes some seconds: it plans again for each change."""
    best = plan.recommended
    if best is None:
        return Robustness(None, ())
    stands, turns = _by_growth(question, best.id, seed)
    turns += list(_by_findings(question, plan, seed))
    return Robustness(stands, tuple(sorted(turns, key=lambda turn: (-turn.chance, turn.what))))


def _by_growth(question: Question, best: str, seed: int) -> tuple[float | None, list[Turn]]:
    known = question.as_known()
    posterior = fit_growth(known, seed=seed, known_steps=known_steps(known))
    if posterior is None:
        return None, []
    mature = outlook(posterior).at_maturity()
    order = np.argsort(mature, kind="stable")
    chosen = [int(order[int((k + 0.5) / FUTURES * len(order))]) for k in range(FUTURES)]
    first: dict[str, list[float]] = {}
    words: dict[str, str] = {}
    for draw in chosen:
        course = first_course(question, posterior.one(draw))
        name, words_of = _named(course)
        first.setdefault(name, []).append(float(mature[draw]))
        words[name] = words_of
    same = first.pop(best, [])
    turns = [_growth_turn(words[name], at, same) for name, at in first.items()]
    return len(same) / FUTURES, turns


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
        value = _beyond(leaf, STEPS[rule.unit])
        side = question.record.affected_side if leaf.leg == "affected" else question.record.other_side
        key = (leaf.finding, side, value)
        chance = NormalDist().cdf(-abs(leaf.margin) / leaf.sd)
        if key in seen or chance < LEAST_CHANCE:
            continue
        seen.add(key)
        changed = _with_value(question.record, leaf.finding, None if rule.of == "child" else side, value, question.on)
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


def _beyond(leaf: Verdict, step: float) -> float:
    """Return the value nearest to a threshold that lies on its other side."""
    bound, holds = float(leaf.threshold), leaf.state == "holds"  # type: ignore[arg-type]
    near = (bound, bound - step, bound + step)
    return next(round(value, 6) for value in near if on_side(str(leaf.comparison), value, bound)[0] != holds)


def _with_value(record: Record, finding: str, side: str | None, value: float, on: datetime.date) -> Record | None:
    """Return the record with the last measurement of a finding changed; None where it was never measured itself."""
    for at in range(len(record.visits) - 1, -1, -1):
        visit = record.visits[at]
        if visit.date > on or not any(_is(item, finding, side) for item in visit.measurements):
            continue
        items = tuple(
            item.model_copy(update={"value": value}) if _is(item, finding, side) else item
            for item in visit.measurements
        )
        changed: Visit = visit.model_copy(update={"measurements": items})
        return record.model_copy(update={"visits": (*record.visits[:at], changed, *record.visits[at + 1 :])})
    return None


def _is(item: Measurement, finding: str, side: str | None) -> bool:
    return item.finding == finding and (side is None or item.side in (None, side))


def _changes(plan: Plan, other: Plan, protocol: Protocol) -> Iterator[str]:
    """Yield what another plan recommends or plans instead, in words; dates and amounts alone do not count."""
    one, two = plan.recommended, other.recommended
    if (one.id if one else "") != (two.id if two else ""):
        yield f"{FIRST_WOULD_BE} {two.summary if two else NO_COURSE}"
    here, there = _planned(plan, protocol), _planned(other, protocol)
    for id in sorted(here.keys() - there.keys()):
        yield f"{here[id][0].lower()}{here[id][1:]} would drop out"
    for id in sorted(there.keys() - here.keys()):
        yield f"{there[id][0].lower()}{there[id][1:]} would be planned"


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
