"""The first operation of a policy as a decision: between which two it lies, how close, whether an earlier one stays.

Pure: the policy's tables in, names of stages out.
"""

from __future__ import annotations

from dataclasses import dataclass

from pathway.courses.policy.actions import ARREST, BOTH, LENGTHEN, WAIT
from pathway.courses.policy.child import ChildProgramme
from pathway.courses.policy.committed import committed, nearest
from pathway.courses.policy.first import Commitment, First, same_choice
from pathway.courses.policy.path import Step
from pathway.courses.policy.policy import Policy
from pathway.courses.problem import CourseProblem
from pathway.protocol.question import EarlierOperation
from pathway.protocol.roles import growth_arrest

SAME_SITTING_YEARS = 0.05
"""Two operations of an earlier course so near each other were planned for one sitting."""


@dataclass(frozen=True, slots=True)
class FirstOperation:
    """A first operation to commit to: its kind (an action's), stage ("" for none), age, mm and plates."""

    kind: str
    stage: str
    age_years: float
    mm: float
    physes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FirstCall:
    """What the plan does first and the best other choice; `gap` is what the other costs more.

    With `kept` the first is that of the plan accepted before, and the other, now the best, costs so much less: `gap` is
    below 0 then.
    """

    first: FirstOperation
    other: FirstOperation | None
    gap: float | None
    kept: bool = False


def first_call(policy: Policy, child: ChildProgramme, problem: CourseProblem, kept: Commitment | None) -> FirstCall:
    """Return the call that a policy makes; `kept` is the commitment that it was made to keep to, if any."""
    table = policy.first
    best = table.best()
    other = table.other() if kept is None else best
    mine = _of_path(policy, best) if kept is None else kept
    gap = None if other is None else other.cost - (kept or best).cost
    named = None if other is None else _named(other, child, problem)
    return FirstCall(_named(mine, child, problem), named, gap, kept is not None)


def keeping(
    policy: Policy, child: ChildProgramme, problem: CourseProblem, earlier: tuple[EarlierOperation, ...]
) -> tuple[Policy, Commitment | None]:
    """Return the policy that keeps to the first operation of an earlier plan, with that commitment, where it may.

    So where it is still possible, another choice than the best now, and costs less than the error of the grid more;
    else the policy as it is, and None.
    """
    kept = _kept(policy.first, child, problem, earlier)
    return (policy, None) if kept is None else (committed(policy, kept), kept)


def _kept(
    first: First, child: ChildProgramme, problem: CourseProblem, earlier: tuple[EarlierOperation, ...]
) -> Commitment | None:
    if not earlier:
        return None
    coming = [one for one in earlier if not _begun(one, problem)]
    same = _as_planned(first, child, problem, sorted(coming, key=lambda one: one.age_years))
    best = first.best()
    if same is None or same_choice(first.programme, best, same):
        return None
    return same if same.cost - best.cost < problem.number("kept_gap") else None


def _begun(one: EarlierOperation, problem: CourseProblem) -> bool:
    return one.stage in problem.graph and problem.graph.stage(one.stage).begun


def _as_planned(
    first: First, child: ChildProgramme, problem: CourseProblem, coming: list[EarlierOperation]
) -> Commitment | None:
    """Return the commitment that comes nearest to what an earlier plan does first; nothing at all where it is done."""
    if not coming:
        return next((one for one in first.commitments() if one.action.kind == WAIT), None)
    now = [one for one in coming if one.age_years - coming[0].age_years <= SAME_SITTING_YEARS]
    arrest = growth_arrest(problem.protocol)
    lengthened = next((one for one in now if one.stage == _lengthening(child, problem)), None)
    arrested = next((one for one in now if arrest is not None and one.stage == arrest.id), None)
    if lengthened is None and (arrested is None or now[0] is not arrested):
        return None  # of a bone whose turn has not come, or in a way that the rules do not have any more
    plates = child.plates.index(arrested.physes) if arrested and arrested.physes in child.plates else None
    if arrested is not None and plates is None:
        return None
    kind = LENGTHEN if arrested is None else ARREST if lengthened is None else BOTH
    within = problem.number("next_visit_months") / 12, float(problem.grid.step_mm)
    mm = None if lengthened is None else lengthened.amount_mm
    return nearest(first, kind, now[0].age_years, mm, plates, within)


def _of_path(policy: Policy, best: Commitment) -> Commitment:
    """Return the path's first operation where it is the choice of the best commitment, else that commitment.

    The path may wait a visit longer: it decides again with what it will know then.
    """
    step: Step | None = next(iter(policy.path), None)
    if step is None:
        return best
    of_path = Commitment(step.visit, step.age_years, step.action, step.mm, best.cost)
    return of_path if same_choice(policy.first.programme, best, of_path) else best


def _named(one: Commitment, child: ChildProgramme, problem: CourseProblem) -> FirstOperation:
    stage = ""
    if one.action.amount >= 0:
        stage = _lengthening(child, problem)
    elif one.action.plates >= 0:
        arrest = growth_arrest(problem.protocol)
        stage = arrest.id if arrest is not None else ""
    physes = child.plates[one.action.plates] if one.action.plates >= 0 else ()
    return FirstOperation(one.action.kind, stage, one.age_years, one.mm, physes)


def _lengthening(child: ChildProgramme, problem: CourseProblem) -> str:
    """Return the stage that the programme's next lengthening is."""
    stages = problem.of(child.bones[0]).stages if child.bones else ()
    return stages[0].id if stages else ""
