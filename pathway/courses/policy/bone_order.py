"""In which order two short bones are lengthened: a stated rule, fixed before the policy is worked out."""

from __future__ import annotations

from dataclasses import dataclass

from pathway.courses.problem import BoneLengthenings, CourseProblem
from pathway.protocol.model import Bone


@dataclass(frozen=True, slots=True)
class Turn:
    """One lengthening of the order: its bone, the how manieth of that bone (from 0), the share of what was gained.

    `share` is the part of all that earlier lengthenings gained that is taken to be this bone's: the part of those
    lengthenings that were of this bone, as if each had gained the same.
    """

    bone: Bone
    own: int
    share: float


def order_of(problem: CourseProblem, most: int | None = None) -> tuple[Turn, ...]:
    """Return the lengthenings in order, at most so many; none where no stage of lengthening is possible.

    Next comes the bone that is shorter still at maturity for its length, each lengthening counted as an average one
    of published practice. The second bone of the diagnosis has a turn only while one is left to it by its own
    shortening, so that the knees stay level; where it never has, one bone is lengthened throughout.
    """
    bones = [item for item in problem.bones if item.stages]
    if len(bones) == 2 and not _worth_one(problem, left_mm(problem)):
        bones = [problem.first]
    left = {item.bone: problem.growth.own_share_mm(item.bone) for item in bones}
    done = {item.bone: 0 for item in bones}
    caps = [sum(len(item.stages) for item in bones), most, problem.wishes.at_most_lengthenings]
    turns: list[Turn] = []
    while len(turns) < min(cap for cap in caps if cap is not None):
        open_ = [item for item in bones if _open(problem, item, done[item.bone], left, alone=len(bones) == 1)]
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


def _open(problem: CourseProblem, item: BoneLengthenings, done: int, left: dict[Bone, float], *, alone: bool) -> bool:
    if done >= len(item.stages):
        return False
    return alone or item is problem.first or _worth_one(problem, left[item.bone])


def _worth_one(problem: CourseProblem, left_mm: float) -> bool:
    return left_mm >= max(problem.number("least_lengthening_mm"), problem.number("policy_least_mm"))
