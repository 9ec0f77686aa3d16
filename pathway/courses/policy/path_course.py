"""The path of a policy as a course: stages, ages and amounts if every step works, and how it usually ends."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from pathway.courses.course import Arrest, Lengthening, limits_at
from pathway.courses.policy.child import ChildProgramme
from pathway.courses.policy.path import Step
from pathway.courses.problem import CourseProblem
from pathway.protocol.model import Bone, Device
from pathway.protocol.roles import growth_arrest
from pathway.timing.rule_links import device_days

_YEAR = 365.25
_SAME_AGE_YEARS = 0.3
"""Half a visit, about: an arrest so near the removal of a device shares its sitting."""


def path_course(
    path: Sequence[Step], child: ChildProgramme, problem: CourseProblem
) -> tuple[tuple[Lengthening, ...], Arrest | None]:
    """Return the lengthenings of a path in order, and its growth arrest with the sitting that it shares."""
    done: list[Lengthening] = []
    arrest: Arrest | None = None
    for step in path:
        if step.action.amount >= 0:
            device = child.device_of(step.visit, step.action.amount, step.number, step.gained)
            done.append(_lengthening(step, child.bones[step.number - 1], device, done, problem))
        if step.action.plates >= 0:
            shared = done[-1] if step.action.amount >= 0 else None
            arrest = _arrest(step.age_years, child.plates[step.action.plates], done, shared, problem)
    return tuple(done), arrest


def _lengthening(
    step: Step, bone: Bone, device: Device, before: Sequence[Lengthening], problem: CourseProblem
) -> Lengthening:
    own = [item for item in before if item.bone == bone]
    stage = problem.of(bone).stages[len(own)]
    length = _at(problem, problem.growth.short_mm(bone), step.age_years) + sum(item.amount_mm for item in own)
    limits = limits_at(problem.protocol, stage.kind, step.age_years, length, problem.graph.limits_off)
    most = min((limit.limit_mm for limit in limits if not limit.rule.warns), default=math.inf)
    unit = problem.grid.step_mm
    # The policy knows a second bone's earlier gain only on average; the limit is that of the path itself.
    amount = min(step.mm, math.floor(most / unit + 1e-9) * unit)
    grown = problem.of(bone).grown_at(step.age_years)
    return Lengthening(stage.id, stage.kind, bone, step.age_years, amount, length, limits, device.id, grown)


def _arrest(
    age: float,
    physes: tuple[str, ...],
    before: Sequence[Lengthening],
    shared: Lengthening | None,
    problem: CourseProblem,
) -> Arrest:
    """Return the arrest at its age, or in the sitting of a device's removal where that is near."""
    stage = growth_arrest(problem.protocol)
    if stage is None:
        raise ValueError("the rules have no growth arrest")
    effects = problem.growth.effects
    sitting = shared.stage if shared is not None else None
    at_removal = False
    if shared is None and before:
        last = before[-1]
        removed = last.age_years + device_days(problem.protocol, last.bone, last.amount_mm, last.device) / _YEAR
        # A nail stays when its lengthening ends: there is no sitting to share, and no frame in the way.
        nail = last.device is not None and problem.protocol.device(last.device).removal == "own_stage"
        if abs(age - removed) <= _SAME_AGE_YEARS and nail:
            age = max(age, removed + problem.number("arrest_after_device_months") / 12)
        elif abs(age - removed) <= _SAME_AGE_YEARS:
            # A device comes off between two visits: sooner than the visit, the arrest may take a little too much.
            most = problem.number("arrest_most_mm") + problem.number("arrest_most_slack_mm")
            at_removal = _of(effects.of(physes), effects.age_years, removed) <= most
            sitting = last.stage if at_removal else None
            rest = problem.number("arrest_after_device_months") / 12
            age = removed if at_removal else max(age, removed + rest)
    effect = round(_of(effects.of(physes), effects.age_years, age), 1)
    soft = effect - problem.number("goal_band_mm")
    last_useful = float(np.interp(-soft, -effects.of(tuple(effects.by_plate)), effects.age_years))
    return Arrest(stage.id, age, physes, effect, max(last_useful, age), sitting, at_removal)


def _at(problem: CourseProblem, values: np.ndarray, age: float) -> float:
    return _of(values, problem.grid.age_years, age)


def _of(values: np.ndarray, ages: np.ndarray, age: float) -> float:
    return float(np.interp(age, ages, values))
