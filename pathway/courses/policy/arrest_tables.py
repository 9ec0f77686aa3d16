"""The growth arrest of one child: which plates at which visits, what each takes off, and what it costs."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pathway.courses.arrest_options import arrest_from_years
from pathway.courses.course import PLATES
from pathway.courses.policy import programme as pg
from pathway.courses.problem import CourseProblem
from pathway.days import days_between
from pathway.growth import arrest_takes
from pathway.growth.reference_curves import Floats
from pathway.protocol.question import Question
from pathway.protocol.roles import growth_arrest
from pathway.timing.rule_links import SLIP_DAYS


@dataclass(frozen=True, slots=True, eq=False)
class ArrestChoices:
    """Sets of plates (J), what each takes off by draw (J, draws, n), and whether it may be done (J, n), at n ages."""

    plates: tuple[tuple[str, ...], ...]
    takes_mm: Floats
    allowed: pg.Bools

    def at(self, kept: np.ndarray) -> ArrestChoices:
        """Return the choices at some of the ages."""
        return replace(self, takes_mm=self.takes_mm[:, :, kept], allowed=self.allowed[:, kept])


def arrest_choices(problem: CourseProblem, question: Question, ages: Floats) -> ArrestChoices:
    """Return what may be arrested at these ages: by the plate of the deficient bone, the other one, or both."""
    posterior, number = problem.growth.posterior, problem.number
    own = PLATES[problem.first.bone]
    rest = tuple(plate for plate in PLATES.values() if plate != own)
    plates = ((own,), *((plate,) for plate in rest), (own, *rest))
    takes = {plate: arrest_takes(posterior, plate, ages) for plate in PLATES.values()}
    takes_mm = np.array([sum(takes[plate] for plate in some) for some in plates])
    central = problem.growth.effects
    planned = np.array([np.interp(ages, central.age_years, central.of(some)) for some in plates])
    allowed = (planned >= number("arrest_least_mm")) & (planned <= number("arrest_most_mm"))
    allowed &= _open(problem, question, ages)[None, :]
    return ArrestChoices(plates, takes_mm, allowed)


def arrested_before(problem: CourseProblem) -> bool:
    """Return whether plates of the long leg have been closed."""
    return any(step.leg == "long" and step.stops for step in problem.growth.posterior.known_steps)


def arrest_of(
    problem: CourseProblem, choices: ArrestChoices, classes: list[np.ndarray], mature_mm: Floats, sitting: pg.Ints
) -> pg.Arrest:
    """Return the tables of the arrest; `classes` are the draws of each class of tempo, `sitting` (T, W).

    `mature_mm` (draws,) is the mature difference if nothing is done.
    """
    number = problem.number
    effect = np.array([[takes[part].mean(axis=0) for takes in choices.takes_mm] for part in classes])
    own = PLATES[problem.first.bone]
    height = number("weigh_height_lost") * (effect / number("weigh_height_lost_scale_mm")) ** 2
    uneven = np.array([0.0 if own in some else number("weigh_uneven_knees") for some in choices.plates])
    beside = height + uneven[None, :, None]
    shared = beside + number("weigh_growth_arrest_shared")
    keeps = problem.growth.posterior.bones["femur"].efficacy
    return pg.Arrest(
        effect_mm=effect,
        sd_share=float(keeps.std() / max(float(keeps.mean()), 0.1)),
        allowed=choices.allowed,
        allowed_at_start=choices.allowed.copy(),
        sitting=sitting,
        cost=beside + number("weigh_growth_arrest"),
        cost_at_start=shared,
        cost_at_removal=shared,
        repeat_chance=number("arrest_redone_chance"),
        repeat_cost=number("weigh_unplanned_operation"),
        planned=1.0,
        planned_at_start=0.0,
        planned_at_removal=0.0,
        after_stop=True,
        told_sd_mm=np.array([_spread_apart(choices.takes_mm[:, part], mature_mm[part]) for part in classes]),
    )


def _spread_apart(takes_mm: Floats, mature_mm: Floats) -> Floats:
    """Return the SD (J, n) of what an arrest takes off (J, draws, n) that the mature difference does not foretell.

    Beside the efficacy it is how differently children of one class grow: a policy acts by class and forecast alone.
    """
    off = takes_mm - takes_mm.mean(axis=1, keepdims=True)
    by = (mature_mm - mature_mm.mean())[None, :, None]
    slope = (off * by).mean(axis=1, keepdims=True) / max(float(np.mean(by**2)), 1e-9)
    spread: Floats = (off - slope * by).std(axis=1)
    return spread


def _open(problem: CourseProblem, question: Question, ages: Floats) -> pg.Bools:
    """Return at which ages the rules and the family leave an arrest."""
    stage = growth_arrest(problem.protocol)
    closed = np.zeros(len(ages), bool)
    if stage is None or arrested_before(problem):
        return closed
    if stage.id in problem.wishes.declined or "no_growth_arrest" in problem.wishes.prefer:
        return closed
    if not any(item.state in ("optional", "possible", "planned") for item in problem.graph.of_kind(stage.id)):
        return closed
    earliest = arrest_from_years(stage.id, problem.protocol, question.record.child.sex, float(ages[0]))
    columns = np.searchsorted(problem.grid.age_years, ages - 1e-6)
    in_time: pg.Bools = np.asarray(ages >= earliest - 1e-6) & problem.free_soon()[columns]
    before = problem.wishes.finish_before
    if before is None:
        return in_time
    last = days_between(question.record.child.date_of_birth, before) - SLIP_DAYS
    in_time &= np.array(problem.grid.free_days)[columns] < last
    return in_time
