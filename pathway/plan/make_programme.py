"""What to decide at each visit, in a world where things go wrong: the exact policy of one child, told.

The plan's recommended course is the path of the same policy; here stands all that the policy says beyond it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from pathway.courses.first_call import keeping
from pathway.courses.policy.actions import ARREST, BOTH, WAIT, Action
from pathway.courses.policy.child import ChildProgramme
from pathway.courses.policy.first import Commitment, First
from pathway.courses.policy.path import Step as PathStep
from pathway.courses.policy.policy import Policy, best_policy
from pathway.courses.policy.risks import joint_before, lengthening_of
from pathway.growth import fit_growth
from pathway.network import Conflict
from pathway.plan.amounts_by_age import amounts_by_age
from pathway.plan.make import problems_of
from pathway.plan.of_100 import of_100
from pathway.plan.programme import (
    Firmness,
    FirstChoice,
    Kind,
    LengtheningsOf100,
    Programme,
    ProgrammeStep,
    Turn,
    any_within_range,
)
from pathway.plan.weighed import Weighed, weighed
from pathway.plan.what_turns import changes, what_turns
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.risk.rates import rate
from pathway.risk.words import family_words
from pathway.rule_engine.facts import known_steps

TOLD = ("unplanned_operation", "fracture", "shortfall", "hip", "knee_lasting", "deep_infection")
"""What is told of the first lengthening, in this order."""
_KINDS: dict[str, Kind] = {ARREST: "growth_arrest", BOTH: "lengthening_with_growth_arrest", WAIT: "nothing"}


def make_programme(question: Question, *, turn: bool = False) -> Programme | str:
    """Return the programme of one child on one day, or why there is none, as a sentence.

    With `turn` it is solved again with every risk and weight changed, and told which bring another first
    operation.
    """
    question = question.as_known()
    if question.record.child.affected_side == "both":
        return "Both legs are affected: a programme for one short leg does not apply."
    posterior = fit_growth(question, known_steps=known_steps(question))
    if posterior is None:
        return "No length was ever measured: measure both legs first."
    problems = problems_of(question, posterior)
    if isinstance(problems, Conflict):
        return "The rules contradict each other for this child: see the plan."
    asked = next((one for p in problems if (one := weighed(p, question)) is not None), None)
    if asked is None:
        return "The rules leave nothing to decide for this child, no lengthening and no growth arrest: see the plan."
    return _told(asked, turn=turn)


def _told(asked: Weighed, *, turn: bool) -> Programme:
    child, question = asked.child, asked.question
    protocol = question.protocol
    # Of what someone chose the plan follows another policy; this one is then told as it is.
    earlier = question.earlier if asked.problem.wishes.course is None else ()
    policy, _ = keeping(best_policy(child.programme), child, asked.problem, earlier)
    turns = tuple(_turns(policy.first, asked)) if turn else None
    ends, first, best = policy.outcome, policy.first, policy.first.best()
    other, gap = first.other(), first.gap()
    numbers = of_100({number: float(part) for number, part in enumerate(ends.number)})
    return Programme(
        predicted_mm=round(asked.problem.growth.predicted_mm, 1),
        path=tuple(_step(step, child) for step in policy.path),
        planned_operations=round(ends.planned, 1),
        unplanned_operations=round(ends.unplanned, 1),
        harm_of_100=round(100 * min(ends.harm, 1.0)),
        device_months=round(ends.device_months, 1),
        months_over=round(ends.months_over, 0),
        over_percent=protocol.number("told_over_percent"),
        lengthenings=tuple(LengtheningsOf100(lengthenings=n, of_100=k) for n, k in numbers.items() if k),
        within_10_mm_of_100=round(100 * ends.within[0]),
        within_20_mm_of_100=round(100 * ends.within[1]),
        gap=None if gap is None else round(gap, 2),
        firmness=_firmness(gap, turns or (), protocol),
        first=_choice(best, child, best.cost),
        other=None if other is None else _choice(other, child, best.cost),
        choices=_choices(policy, child),
        amounts=amounts_by_age(first),
        waiting=None if (waiting := first.waiting()) is None else round(waiting, 2),
        next_visit_months=protocol.number("next_visit_months"),
        troubles=_troubles(policy, child, question),
        beyond_counts=any(
            child.outside_counts(step.visit, step.action.amount, step.number, step.gained)
            for step in policy.path
            if step.action.amount >= 0
        ),
        two_bones=child.two_bones,
        sets=asked.sets(),
        rests_on=asked.rests_on(),
        turns=turns,
    )


def _turns(now: First, asked: Weighed) -> Iterator[Turn]:
    """Yield what brings another first operation, each thing changed by itself."""
    protocol = asked.question.protocol
    for one in what_turns(now, changes(protocol), asked.first_if):
        change = one.change
        first = _choice(one.first, asked.child, one.first.cost)
        keeping = None if one.keeping is None else round(one.keeping, 2)
        if change.weight is not None:
            value, times = protocol.number(change.weight) * change.times, change.times
            yield Turn(what="weight", id=change.weight, value=value, times=times, first=first, keeping=keeping)
        elif change.slope is not None:
            ratio = round(math.exp(change.slope), 2)
            yield Turn(what="slope", id="slope", value=ratio, times=None, first=first, keeping=keeping)
        else:
            yield Turn(what="risk", id=change.level, value=None, times=None, first=first, keeping=keeping)


def _firmness(gap: float | None, turns: tuple[Turn, ...], protocol: Protocol) -> Firmness:
    if any_within_range(turns):
        return "close call"
    if gap is None or gap >= protocol.number("firm_gap"):
        return "firm"
    return "close call" if gap < protocol.number("close_call_gap") else "a matter of weighing"


def _kind(action: Action) -> Kind:
    return _KINDS.get(action.kind, "lengthening")


def _step(step: PathStep, child: ChildProgramme) -> ProgrammeStep:
    action = step.action
    lengthens = action.amount >= 0
    percent = child.percent_of(step.visit, action.amount, step.number, step.gained) if lengthens else None
    return ProgrammeStep(
        kind=_kind(action),
        age_years=round(step.age_years, 2),
        amount_mm=round(step.mm, 0),
        percent=None if percent is None else round(percent, 0),
        bone=child.bones[step.number - 1] if lengthens else None,
        physes=child.plates[action.plates] if action.plates >= 0 else (),
        of_100=round(100 * step.chance),
        of_100_ever=round(100 * step.chance_ever),
    )


def _choice(one: Commitment, child: ChildProgramme, least: float) -> FirstChoice:
    return FirstChoice(
        kind=_kind(one.action),
        age_years=round(one.age_years, 2),
        amount_mm=round(one.mm, 0),
        physes=child.plates[one.action.plates] if one.action.plates >= 0 else (),
        costs_more=round(one.cost - least, 2),
    )


def _choices(policy: Policy, child: ChildProgramme, most: int = 6) -> tuple[FirstChoice, ...]:
    """Return the cheapest first operations, each kind and visit once."""
    every = policy.first.commitments()
    seen: dict[tuple[Kind, int], Commitment] = {}
    for one in every:
        seen.setdefault((_kind(one.action), one.visit), one)
    return tuple(_choice(one, child, every[0].cost) for one in list(seen.values())[:most])


def _troubles(policy: Policy, child: ChildProgramme, question: Question) -> tuple[str, ...]:
    """Return what is published of a lengthening like the first of the path, outcome by outcome."""
    first = next((step for step in policy.path if step.action.amount >= 0), None)
    if first is None:
        return ()
    bone = child.bones[first.number - 1]
    percent = child.percent_of(first.visit, first.action.amount, first.number, first.gained)
    joints = joint_before(question)
    step = lengthening_of(question, bone, first.mm, percent, first.age_years, child.cover, joints=joints)
    told = []
    for name in TOLD:
        if name == "hip" and bone != "femur":
            continue
        prepared = name == "hip" and step.hip_cover == "prepared"
        head = "Only if the hip has first been stabilised and covered: " if prepared else ""
        head = "With a rod put in when the frame comes off: " if name == "fracture" and bone == "femur" else head
        told.append(head + family_words(rate(question.protocol, name, step), bone))
    return tuple(told)
