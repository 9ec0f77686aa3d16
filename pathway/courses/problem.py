"""What the search of one child works on: the grid of ages, growth on it, the lengthenings of both bones, the arrests.

On a grid of ages and in steps of the plan. First how near to equal legs, then the points of the rules: device months,
months with a large difference, unusual ages, amounts above a warning, uneven knees, adult height lost.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial
from itertools import product

import numpy as np

from pathway.courses.arrest_options import ArrestEffects, arrest_effects, arrest_from_years, arrests
from pathway.courses.chosen import chosen_of
from pathway.courses.course import PLATES, Arrest, Lengthening, limits_at
from pathway.courses.grid_search import Chain, Floats, Ints, Problem, Step, no_chain
from pathway.courses.lengthening_options import POINT, ChainRules, Grid, grid_of
from pathway.days import day_at_age, days_between
from pathway.growth import Outlook, Posterior, grown_from_years, outlook
from pathway.preferences import Wishes, wishes_of
from pathway.protocol.model import Bone, Protocol, Stage
from pathway.protocol.question import Question
from pathway.protocol.roles import growth_arrest, lengthenings
from pathway.record import Record
from pathway.rule_engine.graph import ChildGraph, StageItem
from pathway.timing.calendar import calendar_of, free_day
from pathway.timing.rule_links import SLIP_DAYS
from pathway.timing.windows import Timeline

REACH = 10**9
"""What a millimetre-step farther from equal legs costs, so that no points can buy it."""


@dataclass(frozen=True, slots=True, eq=False)
class CentralGrowth:
    """Growth as the search sees it: the posterior, its central projection on the grid, what an arrest still prevents.

    `difference_mm` (J,) is the projected difference at each age, `predicted_mm` that at maturity, both untreated.
    """

    posterior: Posterior
    outlook: Outlook
    effects: ArrestEffects
    difference_mm: Floats
    predicted_mm: float

    def short_mm(self, bone: Bone) -> Floats:
        """Return the length of a bone of the short leg at each age of the grid (J,), mm."""
        short: Floats = (self.outlook.short_femur_mm if bone == "femur" else self.outlook.short_tibia_mm)[0]
        return short

    def own_share_mm(self, bone: Bone, arrest: Arrest | None = None) -> float:
        """Return by how much a bone is short at maturity, less what an arrest of both knee plates takes of it, mm."""
        long = (self.outlook.long_femur_mm if bone == "femur" else self.outlook.long_tibia_mm)[0]
        own = float(long[-1] - self.short_mm(bone)[-1])
        if arrest is not None and PLATES[bone] in arrest.physes and len(arrest.physes) > 1:
            own -= arrest.effect_mm * own / max(self.predicted_mm, own)
        return own


@dataclass(frozen=True, slots=True, eq=False)
class BoneLengthenings:
    """One bone and one way of lengthening it: the possible stages in order, their chain, how many may be tried.

    `kind` is None where the rules have no way of lengthening the bone. From `grown_years` on the bone hardly grows, and
    `wait_grown` are the waiting times of the chain.
    """

    bone: Bone
    kind: Stage | None
    stages: tuple[StageItem, ...]
    chain: Chain
    numbers: range
    grown_years: float = math.inf
    wait_grown: Ints | None = None

    def grown_at(self, age_years: float) -> float | None:
        """Return the age from which the bone hardly grows where a lengthening at an age comes after it, else None."""
        return self.grown_years if age_years >= self.grown_years else None


@dataclass(frozen=True, slots=True, eq=False)
class CourseProblem:
    """One child's problem with one way of lengthening each bone; `first` is the bone that the diagnosis names first."""

    graph: ChildGraph
    record: Record
    protocol: Protocol
    wishes: Wishes
    grid: Grid
    growth: CentralGrowth
    first: BoneLengthenings
    second: BoneLengthenings
    arrests: tuple[Arrest, ...]

    @property
    def bones(self) -> tuple[BoneLengthenings, BoneLengthenings]:
        """Return both bones, the first one first."""
        return self.first, self.second

    def of(self, bone: Bone) -> BoneLengthenings:
        """Return the lengthenings of a bone."""
        return self.first if self.first.bone == bone else self.second

    def free_soon(self) -> np.ndarray:
        """Return for each age of the grid whether a day free for an operation follows soon enough to count as then."""
        slip = np.array(self.grid.free_days) - 365.25 * self.grid.age_years
        soon: np.ndarray = slip <= SLIP_DAYS + 1
        return soon

    def number(self, id: str) -> float:
        """Return the number of a `value` rule."""
        return self.protocol.number(id)

    def months_over(self, chosen: tuple[Lengthening, ...], arrest: Arrest | None) -> float:
        """Return the months until maturity with more difference than the burden's limit, on the central outlook."""
        ages = self.grid.age_years
        left = self.growth.difference_mm - self.growth.effects.reached(arrest, ages)
        for item in chosen:
            left -= np.where(ages >= item.age_years, item.amount_mm, 0.0)
        return float(np.sum((left > self.number("burden_over_mm")) & self._growing())) * self.grid.months

    def excess(self, left_mm: Floats) -> Floats:
        """Return how far remaining differences miss the goal: 0 within the wished band, 1 within the accepted."""
        band, accepted = self.number("goal_band_mm"), self.number("goal_accepted_mm")
        return np.where(left_mm <= band, 0.0, np.where(left_mm <= accepted, 1.0, left_mm))

    def on_grid(self, over: Ints) -> Problem:
        """Return the problem of the grid search with these points of months with a large difference."""
        gathered = np.concatenate((np.zeros((1, over.shape[1]), np.int64), np.cumsum(over, axis=0)))
        return Problem(self.first.chain, self.second.chain, over=gathered)

    def score(self, arrest: Arrest | None) -> Ints:
        """Return what each pair of total gains costs at maturity (G1, G2): reach, uneven knees, height lost."""
        step_mm = self.grid.step_mm
        first, second = (np.arange(item.chain.gains) * step_mm for item in self.bones)
        effect = arrest.effect_mm if arrest else 0.0
        left = np.abs(self.growth.predicted_mm - effect - first[:, None] - second[None, :])
        reach = np.round(self.excess(left)).astype(np.int64) * 1000 + np.round(left / step_mm).astype(np.int64)
        uneven = second
        if self.second.stages:
            uneven = np.abs(second - self.growth.own_share_mm(self.second.bone, arrest))
        knee = self.number("weight_mm_knee_level") * uneven
        height = self.number("weight_mm_height_lost") * effect
        points: Ints = REACH * reach + np.round(POINT * (knee + height)).astype(np.int64)[None, :]
        return points

    def over(self, arrest: Arrest | None) -> Ints:
        """Return the points of each column (J, G) for each total gained: of months with a large difference."""
        limit, weight = self.number("burden_over_mm"), self.number("weight_month_over_25_mm")
        if self.wishes.lift_at_most_mm is not None:
            limit = min(limit, self.wishes.lift_at_most_mm + self.number("lift_less_than_difference_mm"))
            weight = self.number("weight_month_over_wished_lift")
        totals = sum(item.chain.gains for item in self.bones) - 1
        left = self.growth.difference_mm - self.growth.effects.reached(arrest, self.grid.age_years)
        large = left[:, None] - self.grid.step_mm * np.arange(totals)[None, :] > limit
        months = (large & self._growing()[:, None]) * self.grid.months
        points: Ints = np.round(POINT * weight * months).astype(np.int64)
        return points

    def lengthenings(self, steps: tuple[Step, ...]) -> tuple[Lengthening, ...]:
        """Return the steps of a solution as lengthenings of the stages at hand, in order."""
        found, gained, count = [], [0.0, 0.0], [0, 0]
        for step in steps:
            of = self.bones[step.chain]
            item = of.stages[count[step.chain]]
            age, mm = float(self.grid.age_years[step.column]), step.units * self.grid.step_mm
            length = float(self.growth.short_mm(of.bone)[step.column]) + gained[step.chain]
            limits = limits_at(self.protocol, item.kind, age, length, self.graph.limits_off)
            grown = of.grown_at(age)
            found.append(Lengthening(item.id, item.kind, of.bone, age, mm, length, limits, grown_from_years=grown))
            gained[step.chain] += mm
            count[step.chain] += 1
        return tuple(found)

    def _growing(self) -> np.ndarray:
        ages = self.grid.age_years
        return ages <= max(self.growth.posterior.mature_age_years, float(ages[0]))


def course_problems(
    graph: ChildGraph, timeline: Timeline, posterior: Posterior, question: Question
) -> tuple[CourseProblem, ...]:
    """Return one child's problem for each pair of ways in which its two bones may be lengthened, by rank.

    A course lengthens one bone in one way; the rules shipped have one way for each, which makes one problem.
    """
    return tuple(_Builder(graph, timeline, posterior, question).problems())


def _wishes(question: Question) -> Wishes:
    """Return the wishes of a record; of a course that was begun since it was chosen, what is left of it is wished."""
    wishes, chosen = wishes_of(question.record), chosen_of(question.record, question.protocol, question.on)
    return wishes if chosen is None else replace(wishes, course=chosen.left)


class _Builder:
    """Makes the parts that all problems of a child share, and the chain of each way of lengthening once."""

    def __init__(self, graph: ChildGraph, timeline: Timeline, posterior: Posterior, question: Question) -> None:
        self.graph, self.timeline, self.record, self.protocol, self.on = (
            graph,
            timeline,
            question.record,
            question.protocol,
            question.on,
        )
        self.wishes, self.grid = _wishes(question), grid_of(question, posterior.mature_age_years)
        ages = self.grid.age_years
        central = outlook(posterior.central(), (), ages)
        effects = arrest_effects(posterior, float(ages[0]), float(ages[-1]))
        predicted = float(central.at_maturity()[0])
        self.growth = CentralGrowth(posterior, central, effects, central.discrepancy_mm[0], predicted)
        self.grown = partial(grown_from_years, posterior)

    def problems(self) -> Iterator[CourseProblem]:
        """Yield the problem of each pair of ways of lengthening."""
        first: Bone = self.protocol.diagnosis(self.record.child.diagnosis).bones[0]
        second: Bone = "tibia" if first == "femur" else "femur"
        number, growth = self.protocol.number, self.growth
        whole = max(growth.predicted_mm, float(np.max(growth.difference_mm)), 0.0) + number("goal_accepted_mm")
        # The second bone is not lengthened beyond its own shortening, to keep the knees level.
        own = max(growth.own_share_mm(second), number("least_lengthening_mm"))
        arrests = self._arrests(first)
        for way, other in product(self._ways(first), self._ways(second)):
            yield CourseProblem(
                self.graph,
                self.record,
                self.protocol,
                self.wishes,
                self.grid,
                self.growth,
                self._lengthenings(first, way, other, whole, may_be_none=True),
                self._lengthenings(second, other, way, own, may_be_none=False),
                arrests,
            )

    def _ways(self, bone: Bone) -> tuple[Stage | None, ...]:
        """Return the ways in which a bone can be lengthened in this child; one of them where none can."""
        kinds = lengthenings(bone, self.protocol)
        return tuple(kind for kind in kinds if self._possible(kind)) or kinds[:1] or (None,)

    def _possible(self, kind: Stage) -> tuple[StageItem, ...]:
        items = [item for item in self.graph.of_kind(kind.id) if item.state == "possible"]
        return tuple(item for item in items if self.timeline.start(item.id) is not None)

    def _lengthenings(
        self, bone: Bone, kind: Stage | None, other: Stage | None, most_mm: float, *, may_be_none: bool
    ) -> BoneLengthenings:
        """Return the lengthenings of a bone in one way; `other` is the way of the other bone in the same course."""
        stages = self._possible(kind) if kind is not None else ()
        if kind is None or not stages:
            return BoneLengthenings(bone, kind, (), no_chain(len(self.grid.age_years)), range(1))
        rules = ChainRules(
            kind,
            other,
            stages,
            self.growth.short_mm(bone),
            self.grid,
            self.graph,
            self.timeline,
            self.record,
            self.protocol,
            self.wishes,
            self.growth.posterior.mature_age_years,
            self.on,
            self.grown,
        )
        required = any(not rule.optional for item in stages for rule, _ in item.indicated)
        least = 1 if required and not may_be_none else 0
        numbers = range(least, len(stages) + 1)
        chain = rules.chain(most_mm)
        return BoneLengthenings(bone, kind, stages, chain, numbers, rules.grown_years, rules.wait_grown(chain))

    def _arrests(self, first: Bone) -> tuple[Arrest, ...]:
        """Return the arrests that find a free day near their age and keep to the wishes."""
        stage = growth_arrest(self.protocol)
        if stage is None or not self.graph.of_kind(stage.id):
            return ()
        earliest = arrest_from_years(stage.id, self.protocol, self.record.child.sex, float(self.grid.age_years[0]))
        found = arrests(stage.id, self.growth.effects, first, earliest, self.protocol)
        return tuple(arrest for arrest in found if self._in_time(arrest))

    def _in_time(self, arrest: Arrest) -> bool:
        day = day_at_age(self.record.child.date_of_birth, arrest.age_years)
        free = free_day(day, calendar_of(self.record, self.protocol))
        before = self.wishes.finish_before
        return days_between(day, free) <= SLIP_DAYS and (
            before is None or free + datetime.timedelta(days=SLIP_DAYS) < before
        )
