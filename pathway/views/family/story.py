"""What a family is told, as values: taken from the plan and the rules, without a word of any language."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from pathway.courses.course import NO_SURGERY, PROSTHETIC_COURSE
from pathway.days import add_months
from pathway.plan.model import Course, ExpectedHarm, MeasuredPoint, Plan, PlanStage, Quantiles, StageHarm
from pathway.protocol.model import Bone, Protocol
from pathway.protocol.roles import bone_of, role_of
from pathway.views.words import roads
from pathway.views.words.family_terms import CHECKS, Step, runs, steps

Kind = Literal["longer", "arrest", "nothing", "artificial"]
MOST_CHOICES = 4
"""So many courses are told beside an artificial leg and nothing more."""
MAIN_HARMS = 2
PREPARING = ("hip", "knee_and_ankle")
"""The lanes whose operations mend what is wrong beside the length."""


@dataclass(frozen=True, slots=True)
class Done:
    """What a course does: a bone lengthened or the other leg slowed ("arrest"), and how often."""

    what: Bone | Literal["arrest"]
    count: int


@dataclass(frozen=True, slots=True)
class Choice:
    """One real choice. `course` is None where nothing was worked out for it; `steps` are those of an artificial leg.

    `ours`: it is the plan; `within_rules`: the rules of the protocol leave it.
    """

    kind: Kind
    does: tuple[Done, ...]
    course: Course | None
    ours: bool
    within_rules: bool
    steps: tuple[PlanStage, ...] = ()


@dataclass(frozen=True, slots=True)
class FamilyStory:
    """All that the texts for one family hold.

    `found` are findings out of the ordinary, as the rules judge them for operations that prepare hip, knee or foot.
    `aids` are worn now, `visits_now` can be done now; `next_operations` share their day, `next_visit` is the stage that
    brings the family to the clinic next, on `next_visit_on`. `untreated` is the difference at the end with no operation
    more, None where nobody can say. `harms` are those of the plan's course in 100 children, the most frequent first;
    `next_harms` those of the next operations. `shared` are the operations at hip, knee or foot that every choice
    has, `of_longer_leg` those that an artificial leg does not need. `answers` names the questions of parents that
    concern this child.
    """

    plan: Plan
    found: tuple[str, ...]
    aids: tuple[PlanStage, ...]
    visits_now: tuple[PlanStage, ...]
    now: MeasuredPoint | None
    untreated: Quantiles | None
    next_operations: tuple[PlanStage, ...]
    next_visit: PlanStage | None
    next_visit_on: datetime.date
    steps: tuple[Step, ...]
    choices: tuple[Choice, ...]
    harms: tuple[ExpectedHarm, ...]
    next_harms: tuple[StageHarm, ...]
    shared: tuple[PlanStage, ...]
    of_longer_leg: tuple[PlanStage, ...]
    answers: tuple[str, ...]

    @property
    def both(self) -> bool:
        """Return whether both legs are affected."""
        return self.plan.child.affected_side == "both"

    @property
    def measured(self) -> bool:
        """Return whether the legs were ever measured."""
        return self.now is not None


def story_of(plan: Plan, protocol: Protocol) -> FamilyStory:
    """Return the story of a plan whose courses are compared."""
    ahead = [s for s in plan.stages if s.operation and s.date is not None and not s.begun]
    day = min((s.date for s in ahead if s.date is not None), default=None)
    next_operations = tuple(stage for stage in ahead if stage.date == day)
    course = plan.recommended
    harms = course.expected.harms if course is not None and course.expected is not None else ()
    choices = tuple(_choices(plan, protocol))
    now = [stage for stage in plan.stages if helps_now(plan, stage)]
    before = [stage for stage in ahead if stage.lane in PREPARING]
    artificial = any(choice.kind == "artificial" for choice in choices)
    on_both = plan.roads.shared if plan.roads is not None else ()
    again = add_months(plan.on, round(protocol.number("next_visit_months")))
    visit = _next_visit(plan, again)
    return FamilyStory(
        plan=plan,
        found=tuple(dict.fromkeys(_found(plan, protocol))),
        aids=tuple(stage for stage in now if role_of(stage.kind, protocol) == "height_compensation"),
        visits_now=tuple(stage for stage in now if role_of(stage.kind, protocol) != "height_compensation"),
        now=plan.growth.measured[-1] if plan.growth.measured else None,
        untreated=None if plan.growth.at_maturity is None else plan.growth.at_maturity.discrepancy_mm,
        next_operations=next_operations,
        next_visit=visit,
        next_visit_on=again if visit is None or visit.date is None else visit.date,
        steps=steps(plan),
        choices=choices,
        harms=told_harms(harms),
        next_harms=tuple(dict.fromkeys(harm for stage in next_operations for harm in stage.harms)),
        shared=tuple(stage for stage in before if stage.id in on_both or not artificial),
        of_longer_leg=tuple(stage for stage in before if artificial and stage.id not in on_both),
        answers=tuple(_answers(plan, choices, protocol)),
    )


def told_harms(harms: Iterable[ExpectedHarm]) -> tuple[ExpectedHarm, ...]:
    """Return the harms of which a number may be told, the most frequent first."""
    told = [harm for harm in harms if harm.children is not None]
    return tuple(sorted(told, key=lambda harm: -(harm.children.best if harm.children else 0.0)))


def helps_now(plan: Plan, stage: PlanStage) -> bool:
    """Return whether a stage is an aid or a visit of today, no operation."""
    due = stage.date is not None and stage.date <= plan.on
    return due and stage.status in ("ready", "under_way") and not stage.operation and stage.lane == CHECKS


def _found(plan: Plan, protocol: Protocol) -> Iterator[str]:
    """Yield the findings for which an operation on hip, knee or foot is indicated, and those that fail a gate."""
    mends = {stage.id for stage in protocol.stages if stage.operation and stage.lane in PREPARING}
    for item in plan.considered:
        verdict = item.reason.verdict
        if item.kind == "indication" and item.about in mends and verdict is not None and verdict.state == "holds":
            for leaf in verdict.leaves():
                if leaf.finding is not None and leaf.measured_on is not None and leaf.state == "holds":
                    yield leaf.finding
    for stage in plan.stages:
        for gate in stage.gates:
            if gate.state == "fails" and gate.finding is not None and gate.measured_on is not None:
                yield gate.finding


def _next_visit(plan: Plan, again: datetime.date) -> PlanStage | None:
    """Return the first visit of the plan that comes no later than the plan is looked at again; None for that itself."""
    visits = [
        stage
        for stage in plan.stages
        if stage.date is not None and plan.on < stage.date <= again and not stage.operation and stage.lane == CHECKS
    ]
    return min(visits, key=lambda stage: stage.date or plan.on, default=None)


def _choices(plan: Plan, protocol: Protocol) -> Iterator[Choice]:
    """Yield the plan first, then the best others within the rules, an artificial leg where offered, nothing more."""
    shown = [course for course in plan.alternatives if course.recommended]
    others = [c for c in plan.alternatives if not c.recommended and c.id not in (NO_SURGERY, PROSTHETIC_COURSE)]
    others.sort(key=lambda c: (not c.within_protocol, not c.not_beaten))
    road = roads.prosthetic_stages(plan)
    told: list[Choice] = []
    for course in (*shown, *others):
        choice = _choice(course, protocol, road)
        # Two courses that do the same are one choice to a family, whatever school each is of.
        if len(told) < MOST_CHOICES and (choice.kind, choice.does) not in [(one.kind, one.does) for one in told]:
            told.append(choice)
    yield from told
    if road and not any(course.id == PROSTHETIC_COURSE for course in shown):
        found = next((course for course in plan.alternatives if course.id == PROSTHETIC_COURSE), None)
        yield Choice("artificial", (), found, ours=False, within_rules=True, steps=road)
    none = next((course for course in plan.alternatives if course.id == NO_SURGERY), None)
    if none is None and plan.growth.at_maturity is not None:
        yield Choice("nothing", (), None, ours=False, within_rules=True)
    elif none is not None and not none.recommended:
        yield _choice(none, protocol, ())


def _choice(course: Course, protocol: Protocol, road: tuple[PlanStage, ...]) -> Choice:
    does: list[Done] = []
    for kind, count in runs(tuple(stage.kind for stage in course.stages)):
        role, bone = role_of(kind, protocol), bone_of(kind, protocol)
        if role == "growth_arrest":
            does.append(Done("arrest", count))
        elif role == "lengthening" and bone is not None:
            does.append(Done(bone, count))
    if course.id == PROSTHETIC_COURSE:
        return Choice("artificial", (), course, course.recommended, course.within_protocol, road)
    bones = [one for one in does if one.what != "arrest"]
    kind_of: Kind = "longer" if bones else "arrest" if does else "nothing"
    return Choice(kind_of, tuple(does), course, course.recommended, course.within_protocol)


def _answers(plan: Plan, choices: tuple[Choice, ...], protocol: Protocol) -> Iterator[str]:
    """Yield the questions of parents that concern this child, in the order in which they are told."""
    born = protocol.diagnosis(plan.child.diagnosis).growth_pattern == "congenital"
    operated = any(stage.operation and not stage.begun for stage in plan.stages)
    longer = any(choice.kind == "longer" for choice in choices)
    asked = {
        "cause": born,
        "siblings": born,
        "pain": operated,
        "hospital": operated,
        "walking": longer,
        "school": operated,
        "sport": True,
        "sleep": longer,
        "costs": True,
        "mind": True,
        "families": True,
        "waiting": True,
        "another_team": True,
    }
    yield from (name for name, concerns in asked.items() if concerns)
