"""One course of the search put to `chance`: its slots, limits and points, and the draws with what they will show."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pathway.amounts import AmountSearch
from pathway.chance import Chance, Slot, Task, chance
from pathway.course import ARREST, LENGTHENING, PLATES, Arrest, Course, limits_at
from pathway.growth import Posterior, outlook
from pathway.growth.curves import Floats
from pathway.growth.learning import estimates, learning
from pathway.protocol.model import Bone

_NO_LIMIT_MM = 1000.0
_LEAST_EFFECT_MM = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class DatedSlot:
    """A slot with the age (years) at which its amount is decided."""

    decided_age_years: float
    slot: Slot


def chance_of(course: Course, search: AmountSearch, *, seed: int = 0, spare: bool | None = None) -> Chance:
    """Return how a course ends in every draw when its amounts are decided again from later visits.

    The first bone's lengthenings and the growth arrest are decided again, those of the second bone kept as planned,
    and all ages but that of the growth arrest. `spare` allows for one more lengthening than planned (None: where the
    course as planned reaches the accepted band). Raises ValueError for a prosthetic road, which has no amounts.
    """
    if course.prosthetic:
        raise ValueError("a prosthetic road has no amounts to decide")
    if spare is None:
        spare = abs(course.residual_mm) <= search.number("goal_accepted_mm")
    dated = slots_of(course, search, spare=spare)
    ages = [item.decided_age_years for item in dated]
    posterior, steps = search.posterior, course.steps
    rng = np.random.default_rng(seed)
    learned = learning(posterior, search.protocol, ages, steps)
    planned = sum(item.amount_mm for item in course.lengthenings if item.bone == search.primary)
    loss_free = _without_loss(posterior)
    last = search.ages[-1:]
    smooth = outlook(loss_free, steps, last).at_maturity().astype(float) + planned
    loss = course.draws_mm.astype(float) + planned - smooth
    centre = course.residual_mm + planned
    errors = learned.gain_error_sd_mm * rng.standard_normal((len(smooth), len(dated)))
    second = sum(item.bone != search.primary for item in course.lengthenings)
    unasked = learned.gain_error_sd_mm * math.sqrt(second) * rng.standard_normal(len(smooth))
    lengthens = [item.slot.lengthens and item.slot.planned > 0 for item in dated]
    smooth -= errors[:, lengthens].sum(axis=1) + unasked
    task = Task(
        step_mm=search.step_mm,
        net_mm=smooth + loss,
        gain_error_mm=errors,
        estimate_mm=estimates(learned, smooth, centre, rng, loss_mm=loss),
        excess=search.excess,
        fixed_lengthenings=second,
        fixed_operations=course.operations - sum(item.slot.operations for item in dated if item.slot.planned),
    )
    return chance([item.slot for item in dated], task)


def slots_of(course: Course, search: AmountSearch, *, spare: bool) -> tuple[DatedSlot, ...]:
    """Return the operations of a course whose amounts can be decided again, in order of the age of deciding."""
    own = [item for item in course.lengthenings if item.bone == search.primary]
    ages = [item.age_years for item in own]
    amounts = [round(item.amount_mm / search.step_mm) for item in own]
    extra = _spare_age(search, ages) if spare else None
    if extra is not None:
        ages, amounts = [*ages, extra], [*amounts, 0]
    none = np.zeros(1)
    totals = sum(int(_limit_mm(search, age, none, warns=False)[0] // search.step_mm) for age in ages) + 1
    found = [
        DatedSlot(age, _lengthening(search, age, until, amount, totals))
        for age, until, amount in zip(ages, (*ages[1:], math.inf)[: len(ages)], amounts, strict=True)
    ]
    if course.arrest is not None:
        found.append(_arrest(search, course.arrest))
    return tuple(sorted(found, key=lambda item: item.decided_age_years))


def _lengthening(search: AmountSearch, age: float, until: float, amount: int, totals: int) -> Slot:
    step, number = search.step_mm, search.number
    gained = step * np.arange(totals)
    most = ((_limit_mm(search, age, gained, warns=False) + 1e-9) // step).astype(np.int64)
    mm = step * np.arange(int(most.max()) + 1)
    over = np.maximum(mm - _limit_mm(search, age, gained, warns=True)[:, None], 0.0)
    while_waiting = np.sort(search.difference[(search.ages >= age) & (search.ages < until)])
    left = gained[:, None] + mm + number("burden_over_mm")
    months = (len(while_waiting) - np.searchsorted(while_waiting, left, side="right")) * search.grid_months
    points = number("weight_mm_over_warning") * over + number("weight_month_over_25_mm") * months
    least = math.ceil(number("least_lengthening_mm") / step)
    return Slot(amount, least, most, points, operations=2)


def _limit_mm(search: AmountSearch, age: float, gained_mm: Floats, *, warns: bool) -> Floats:
    """Return the lowest limit (g,) on a lengthening at an age after each gain; mm, 1000 where no rule sets one."""
    bone: Bone = search.primary
    central = search.central.short_femur_mm if bone == "femur" else search.central.short_tibia_mm
    mm = float(np.interp(age, search.ages, central[0])) + gained_mm
    lowest = np.full(len(mm), _NO_LIMIT_MM)
    for rule in (limit.rule for limit in limits_at(search.protocol, LENGTHENING[bone], age, 0.0)):
        if rule.warns == warns:
            share = (rule.most_percent or 0.0) / 100 * mm
            lowest = np.minimum(lowest, share if rule.most_mm is None else rule.most_mm)
    return lowest


def _spare_age(search: AmountSearch, ages: Sequence[float]) -> float | None:
    """Return the first age at which one lengthening more than `ages` would be allowed, or None."""
    solved = search.solutions[search.primary]
    if solved is None or len(ages) >= len(solved[0].allowed):
        return None
    problem = solved[0]
    from_age = ages[-1] + problem.gap * search.grid_months / 12 if ages else float(search.ages[0])
    usable = np.flatnonzero(problem.allowed[len(ages)] & (search.ages >= from_age - 1e-9))
    return float(search.ages[usable[0]]) if len(usable) else None


def _arrest(search: AmountSearch, arrest: Arrest) -> DatedSlot:
    step, number = search.step_mm, search.number
    ages = np.append(search.ages, arrest.age_years)
    ages.sort()
    central = _growth_left(search.posterior.central(), arrest.physes, ages)[0]
    visit = arrest.age_years - number("next_visit_months") / 12
    decided = min(max(visit, _arrest_from(search)), arrest.age_years)
    planned = round(arrest.effect_mm / step)
    reach = float(np.interp(decided, ages, central))
    most = max(int((min(reach, number("arrest_most_mm")) + 1e-9) // step), planned)
    draws = _growth_left(search.posterior, arrest.physes, np.array([arrest.age_years, ages[-1]]))[:, 0]
    at_planned = max(float(np.interp(arrest.age_years, ages, central)), _LEAST_EFFECT_MM)
    slot = Slot(
        planned,
        math.ceil(number("arrest_least_mm") / step),
        np.array([most]),
        np.zeros((1, most + 1)),
        operations=1,
        lengthens=False,
        response=draws.astype(float) / at_planned,
    )
    return DatedSlot(decided, slot)


def _arrest_from(search: AmountSearch) -> float:
    months = [
        rule.at_least_months or 0
        for rule in search.protocol.age_windows
        if rule.stage == ARREST and rule.hard and rule.sex in (None, search.record.child.sex)
    ]
    return max(float(search.ages[0]), *(month / 12 for month in months), 0.0)


def _growth_left(posterior: Posterior, physes: Sequence[str], ages: Floats) -> Floats:
    """Return the growth (m, n) that the plates would still make after each age, mm."""
    ahead = outlook(posterior, (), ages)
    total: Floats = np.zeros((posterior.draws, len(ages)))
    for bone, plate in PLATES.items():
        if plate in physes:
            mm = ahead.long_femur_mm if bone == "femur" else ahead.long_tibia_mm
            total = total + posterior.shares[plate] * (mm[:, -1:] - mm)
    return total


def _without_loss(posterior: Posterior) -> Posterior:
    bones = {bone: replace(draws, loss=np.zeros_like(draws.loss)) for bone, draws in posterior.bones.items()}
    return replace(posterior, bones=bones)
