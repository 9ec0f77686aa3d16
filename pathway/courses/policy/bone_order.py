"""In which order two short bones are lengthened: a stated rule, fixed before the policy is worked out."""

from __future__ import annotations

from dataclasses import dataclass

from pathway.courses.problem import BoneLengthenings, CourseProblem
from pathway.protocol.model import Bone, PrintedProgramme, PrintedStep


@dataclass(frozen=True, slots=True)
class Turn:
    """One lengthening of the order: its bone, the how manieth of that bone (from 0), the share of what was gained.

    `share` is the part of all that earlier lengthenings gained that is taken to be this bone's: the part of those
    lengthenings that were of this bone, as if each had gained the same.
    """

    bone: Bone
    own: int
    share: float


def order_of(
    problem: CourseProblem, most: int | None = None, within: PrintedProgramme | None = None
) -> tuple[Turn, ...]:
    """Return the lengthenings in order, at most so many; none where no stage of lengthening is possible.

    With `within` only those that a programme of print has, counted with the ones that have begun.

    Next comes the bone that is shorter still at maturity for its length, each lengthening counted as an average one
    of published practice. The second bone of the diagnosis has a turn only while one is left to it by its own
    shortening, so that the knees stay level; where it never has, one bone is lengthened throughout.
    """
    bones = [item for item in problem.bones if _number(item, within)]
    if len(bones) == 2 and not _worth_one(problem, left_mm(problem)):
        bones = [problem.first]
    left = {item.bone: problem.growth.own_share_mm(item.bone) for item in bones}
    done = {item.bone: 0 for item in bones}
    caps = [sum(_number(item, within) for item in bones), most, problem.wishes.at_most_lengthenings]
    if within is not None:
        begun = sum(item.begun for item in problem.graph.of_role("lengthening"))
        caps.append(max(within.most_lengthenings - begun, 0))
    turns: list[Turn] = []
    while len(turns) < min(cap for cap in caps if cap is not None):
        open_ = [
            item
            for item in bones
            if done[item.bone] < _number(item, within)
            and (len(bones) == 1 or item is problem.first or _worth_one(problem, left[item.bone]))
        ]
        if not open_:
            break
        bone = max(open_, key=lambda item: left[item.bone] / float(problem.growth.short_mm(item.bone)[-1])).bone
        turns.append(Turn(bone, done[bone], done[bone] / len(turns) if turns else 1.0))
        done[bone] += 1
        left[bone] -= problem.number("practice_long_from_mm")
    return tuple(turns)


def left_mm(problem: CourseProblem) -> float:
    """Return how far the second bone may be lengthened in all, as the plan's own courses have it."""
    own = problem.growth.own_share_mm(problem.second.bone)
    return max(own, problem.number("least_lengthening_mm"))


def step_of(problem: CourseProblem, turn: Turn, within: PrintedProgramme) -> PrintedStep | None:
    """Return what a programme of print says of a lengthening, or None where it is not part of it."""
    item = problem.of(turn.bone).stages[turn.own]
    return within.step_of(item.kind, item.number)


def _number(item: BoneLengthenings, within: PrintedProgramme | None) -> int:
    """Return how many of a bone's lengthenings may come, up to the first that a programme of print does not have."""
    if within is None:
        return len(item.stages)
    missing = (n for n, stage in enumerate(item.stages) if within.step_of(stage.kind, stage.number) is None)
    return next(missing, len(item.stages))


def _worth_one(problem: CourseProblem, left_mm: float) -> bool:
    return left_mm >= max(problem.number("least_lengthening_mm"), problem.number("policy_least_mm"))
