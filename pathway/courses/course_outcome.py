"""One course of the search put to `chance`: its slots, limits and points, and the draws with what they will show."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from pathway.courses.arrest_options import arrest_from_years
from pathway.courses.course import PLATES, Arrest, Course, limits_at
from pathway.courses.grid_search import Chain, Ints
from pathway.courses.lengthening_options import POINT
from pathway.courses.outcome import Chance, Narrowing, Slot, Task, chance
from pathway.courses.problem import CourseProblem
from pathway.growth import Posterior, arrest_takes
from pathway.growth.future_visits import estimates, learning
from pathway.growth.reference_curves import Floats
from pathway.protocol.model import Contraindication, Indication


@dataclass(frozen=True, slots=True, eq=False)
class DatedSlot:
    """A slot with the age (years) at which its amount is decided."""

    decided_age_years: float
    slot: Slot


def chance_of(course: Course, problem: CourseProblem, *, seed: int = 0, spare: bool | None = None) -> Chance:
    """Return how a course ends in every draw when its amounts are decided again from later visits.

    The first bone's lengthenings and the growth arrest are decided again, those of the second bone kept as planned,
    and all ages but that of the growth arrest. `spare` allows for one more lengthening than planned (None: where the
    course as planned reaches the accepted band, or is recommended though it does not); in a course that the plan puts
    first, and nobody chose, also for a growth arrest at the end where none is planned. What planning again does
    beyond that (other ages, the second bone, another course) narrows what is left as the rules say, measured in lives
    lived through. Raises ValueError for a prosthetic pathway, which has no amounts.
    """
    if course.prosthetic:
        raise ValueError("a prosthetic pathway has no amounts to decide")
    if spare is None:
        spare = course.recommended or abs(course.residual_mm) <= problem.number("goal_accepted_mm")
    dated = slots_of(course, problem, spare=spare)
    ages = [item.decided_age_years for item in dated]
    posterior, steps = problem.growth.posterior, course.steps
    rng = np.random.default_rng(seed)
    learned = learning(posterior, problem.protocol, ages, steps)
    planned = sum(item.amount_mm for item in course.lengthenings if item.bone == problem.first.bone)
    smooth = course.draws_mm.astype(float) + planned
    centre = course.residual_mm + planned
    errors = learned.gain_error_sd_mm * rng.standard_normal((len(smooth), len(dated)))
    second = sum(item.bone != problem.first.bone for item in course.lengthenings)
    unasked = learned.gain_error_sd_mm * math.sqrt(second) * rng.standard_normal(len(smooth))
    lengthens = [item.slot.lengthens and item.slot.planned > 0 for item in dated]
    smooth -= errors[:, lengthens].sum(axis=1) + unasked
    task = Task(
        step_mm=problem.grid.step_mm,
        net_mm=smooth,
        gain_error_mm=errors,
        estimate_mm=estimates(learned, smooth, centre, rng),
        excess=problem.excess,
        fixed_lengthenings=second,
        fixed_operations=course.operations - sum(item.slot.operations for item in dated if item.slot.planned),
    )
    found = chance([item.slot for item in dated], task)
    middle = abs(float(np.median(found.residual_mm)))
    narrowing = _narrowing(course, problem)
    reaches = middle <= problem.number("goal_accepted_mm")
    return replace(found, residual_mm=(narrowing.of if reaches else narrowing.about_median)(found.residual_mm))


def _narrowing(course: Course, problem: CourseProblem) -> Narrowing:
    number = problem.number
    further = max(len(course.lengthenings) + (course.arrest is not None) - 1, 0)
    return Narrowing(
        share=number("chance_spread_share") ** further,
        most_sd_mm=number("chance_most_sd_mm"),
        beyond_mm=number("goal_band_mm"),
        tail_share=number("chance_tail_share"),
    )


def slots_of(course: Course, problem: CourseProblem, *, spare: bool) -> tuple[DatedSlot, ...]:
    """Return the operations of a course whose amounts can be decided again, in order of the age of deciding.

    With `spare` one more lengthening of the first bone stands among them where windows and waiting times leave room.
    """
    own = [item for item in course.lengthenings if item.bone == problem.first.bone]
    planned = [(_column(problem, item.age_years), round(item.amount_mm / problem.grid.step_mm)) for item in own]
    extra = _spare_column(course, problem, len(own)) if spare else None
    if extra is not None:
        planned.append((extra, 0))
    ends = [*(column for column, _ in planned[1:]), len(problem.grid.age_years)]
    over = problem.on_grid(problem.over(course.arrest)).over
    found = [
        DatedSlot(
            float(problem.grid.age_years[column]),
            _lengthening(problem.first.chain, k, column, units, over[end] - over[column]),
        )
        for k, ((column, units), end) in enumerate(zip(planned, ends[: len(planned)], strict=True))
    ]
    found = [_where_asked_for(item, problem) if item.slot.planned == 0 else item for item in found]
    if spare and not problem.first.stages:
        found += _at_maturity(problem, over)
    if course.arrest is not None:
        found.append(_arrest(problem, course.arrest))
    elif spare and course.recommended and problem.wishes.course is None:
        found += _spare_arrest(problem, max((item.age_years for item in course.lengthenings), default=0.0))
    return tuple(sorted(found, key=lambda item: item.decided_age_years))


def _column(problem: CourseProblem, age: float) -> int:
    return int(np.abs(problem.grid.age_years - age).argmin())


def _lengthening(chain: Chain, number: int, column: int, planned: int, waiting: Ints) -> Slot:
    """Return one lengthening as the search sees it; `waiting` are the points until the next by units gained."""
    most = np.minimum(chain.most[number, column], chain.limit[column])
    units = np.arange(int(most.max()) + 1)
    gained = np.minimum(np.add.outer(np.arange(chain.gains), units), len(waiting) - 1)
    points = chain.amount_points[units] + chain.warn_points[column][:, units] + waiting[gained]
    points = points + np.where(units > 0, chain.age_points[number, column], 0)
    return Slot(planned, chain.least, most, points / POINT, operations=2)


def _at_maturity(problem: CourseProblem, over: Ints) -> list[DatedSlot]:
    """Return one lengthening at the end of growth where none is asked for today but nothing speaks against one."""
    kind = problem.first.kind
    if kind is None:
        return []
    rules = [c for c in problem.graph.considered if c.rule.stage == kind.id]
    against = any(isinstance(c.rule, Contraindication) and c.verdict.state == "holds" and not c.waived for c in rules)
    if against or all(c.waived for c in rules if isinstance(c.rule, Indication)):
        return []
    column = min(
        int(np.searchsorted(problem.grid.age_years, problem.growth.posterior.mature_age_years)),
        len(problem.grid.age_years) - 1,
    )
    age = float(problem.grid.age_years[column])
    limits = limits_at(problem.protocol, kind.id, age, float(problem.growth.short_mm(problem.first.bone)[column]))
    most_mm = min((limit.limit_mm for limit in limits if not limit.rule.warns), default=0.0)
    most = np.array([int((most_mm + 1e-9) // problem.grid.step_mm)])
    least = math.ceil(problem.number("least_lengthening_mm") / problem.grid.step_mm)
    waiting = over[-1] - over[column]
    units = np.minimum(np.arange(int(most[0]) + 1), len(waiting) - 1)
    spare = DatedSlot(age, Slot(0, least, most, waiting[None, units] / POINT, operations=2))
    return [_where_asked_for(spare, problem)]


def _where_asked_for(dated: DatedSlot, problem: CourseProblem) -> DatedSlot:
    """Return a spare slot that is only done where the predicted difference asks for it by the rules."""
    asked = [
        part.at_least if part.at_least is not None else part.above
        for rule in problem.protocol.indications
        if problem.first.kind is not None and rule.stage == problem.first.kind.id and rule.at_maturity
        for part in (rule.when, *(rule.when.all or ()))
        if part.quantity == "predicted_discrepancy_at_maturity_mm"
    ]
    least = min((mm for mm in asked if mm is not None), default=-math.inf)
    return replace(dated, slot=replace(dated.slot, from_need_mm=least))


def _spare_column(course: Course, problem: CourseProblem, number: int) -> int | None:
    """Return where one lengthening more than planned would be allowed, at the end of growth if it can be, or None.

    There most is known; a spare one in childhood would be decided with little more than is known today.
    """
    first, other = (item.chain for item in problem.bones)
    wished = problem.wishes.at_most_lengthenings
    if number >= first.numbers or (wished is not None and len(course.lengthenings) >= wished):
        return None
    free = 0
    for item in course.lengthenings:
        waits = first.wait if item.bone == problem.first.bone else other.wait_other
        units = min(round(item.amount_mm / problem.grid.step_mm), len(waits) - 1)
        free = max(free, _column(problem, item.age_years) + int(waits[units]))
    usable = free + np.flatnonzero(first.most[number, free:] >= first.least)
    if not len(usable):
        return None
    grown = usable[problem.grid.age_years[usable] >= problem.growth.posterior.mature_age_years]
    return int(grown[0] if len(grown) else usable[-1])


def _arrest(problem: CourseProblem, arrest: Arrest) -> DatedSlot:
    step, number = problem.grid.step_mm, problem.number
    effect = problem.growth.effects.of(arrest.physes)
    earliest = _arrest_from(arrest.stage, problem)
    visit = arrest.age_years - number("next_visit_months") / 12
    decided = min(max(visit, earliest), arrest.age_years)
    planned = round(arrest.effect_mm / step)
    reach = min(float(np.interp(decided, problem.growth.effects.age_years, effect)), number("arrest_most_mm"))
    most = max(int((reach + 1e-9) // step), planned)
    draws = _growth_left(problem.growth.posterior, arrest)
    slot = Slot(
        planned,
        math.ceil(number("arrest_least_mm") / step),
        np.array([most]),
        np.zeros((1, most + 1)),
        operations=1,
        lengthens=False,
        response=draws / max(arrest.effect_mm, step),
    )
    return DatedSlot(decided, slot)


def _spare_arrest(problem: CourseProblem, last_years: float) -> list[DatedSlot]:
    """Return a growth arrest that is done only where it is needed at the end, where rules and family allow one.

    It is decided late, when both knee plates have just enough growth left for what a lengthening is too large for,
    and at a visit after the last lengthening (at `last_years`, 0 where there is none), in whose stead it does not come.
    """
    offered = next((item for item in problem.graph.of_role("growth_arrest") if item.state == "optional"), None)
    if offered is None or offered.kind in problem.wishes.declined or "no_growth_arrest" in problem.wishes.prefer:
        return []
    step, number = problem.grid.step_mm, problem.number
    reach = min(number("arrest_most_mm"), number("least_lengthening_mm") + number("goal_band_mm"))
    plates = tuple(PLATES.values())
    effect, ages = problem.growth.effects.of(plates), problem.growth.effects.age_years
    earliest = _arrest_from(offered.id, problem)
    soonest = last_years + number("next_visit_months") / 12
    age = max(float(np.interp(-reach, -effect, ages)), earliest, soonest if last_years else 0.0)
    most = int((float(np.interp(age, ages, effect)) + 1e-9) // step)
    least = math.ceil(number("arrest_least_mm") / step)
    if most < least:
        return []
    late = Arrest(offered.id, age, plates, most * step, age)
    response = _growth_left(problem.growth.posterior, late) / (most * step)
    slot = Slot(0, least, np.array([most]), np.zeros((1, most + 1)), operations=1, lengthens=False, response=response)
    return [DatedSlot(age, slot)]


def _growth_left(posterior: Posterior, arrest: Arrest) -> Floats:
    """Return the growth (m,) that the arrest would take in each draw, mm."""
    total: Floats = np.zeros(posterior.draws)
    for plate in arrest.physes:
        total = total + arrest_takes(posterior, plate, [arrest.age_years])[:, 0]
    return total


def _arrest_from(stage: str, problem: CourseProblem) -> float:
    sex, first = problem.record.child.sex, float(problem.grid.age_years[0])
    return arrest_from_years(stage, problem.protocol, sex, first)
