"""Ages and amounts of the lengthenings and the growth arrest that come nearest to equal legs.

On a grid of ages and in steps of the plan, for each number of lengthenings of each bone with and without growth
arrest: the exact optimum on the central growth projection. First how near to equal legs, then the points of the
rules: device months, months with a large difference, unusual ages, amounts above a warning, uneven knees, adult
height lost.
"""

from __future__ import annotations

import datetime
import heapq
from dataclasses import dataclass

import numpy as np

from pathway.courses.arrest_options import arrest_effects, arrest_from_years, arrests
from pathway.courses.course import ARREST, LENGTHENING, PLATES, Arrest, Lengthening, limits_at
from pathway.courses.grid_search import Chain, Floats, Ints, Numbers, Problem, Solution, Step, cheapest, least, no_chain
from pathway.courses.lengthening_options import POINT, ChainRules, grid_of
from pathway.days import day_at_age, days_between
from pathway.growth import Posterior, outlook
from pathway.preferences import wishes_of
from pathway.protocol.model import Bone, Protocol
from pathway.record import Record
from pathway.rule_engine.staging import StageGraph, StageNeed
from pathway.timing.calendar import calendar_of, free_day
from pathway.timing.schedule import SLIP_DAYS, Timeline

REACH = 10**9
"""What a millimetre-step farther from equal legs costs, so that no points can buy it."""


@dataclass(frozen=True, slots=True)
class Choice:
    """The best lengthenings and growth arrest for given numbers, and their points (whole, hundredths)."""

    lengthenings: tuple[Lengthening, ...]
    arrest: Arrest | None
    points: int


class AmountSearch:
    """The search of one child: its grid of ages, the projection on it, and every problem once it was solved.

    `predicted_mm` is the projected difference at maturity; `ages` the grid in years, from the first possible
    day to the end of the plan; `numbers` how many lengthenings of each bone may be tried.
    """

    def __init__(
        self,
        graph: StageGraph,
        timeline: Timeline,
        posterior: Posterior,
        record: Record,
        protocol: Protocol,
        on: datetime.date,
    ) -> None:
        self.graph, self.timeline, self.posterior = graph, timeline, posterior
        self.record, self.protocol, self.on = record, protocol, on
        self.born, self.wishes = record.child.date_of_birth, wishes_of(record)
        self.number = protocol.number
        self.grid = grid_of(record, protocol, on)
        self.ages, self.step_mm = self.grid.age_years, self.grid.step_mm
        self.central = outlook(posterior.central(), (), self.ages)
        self.difference = self.central.discrepancy_mm[0]
        self.predicted_mm = float(self.central.at_maturity()[0])
        self.effects = arrest_effects(posterior, float(self.ages[0]), float(self.ages[-1]))
        self.primary: Bone = protocol.diagnosis(record.child.diagnosis).bones[0]
        self.second: Bone = "tibia" if self.primary == "femur" else "femur"
        self.free = {bone: self._possible(bone) for bone in LENGTHENING}
        self.numbers = {bone: self._numbers(bone) for bone in LENGTHENING}
        self.chains = self._chains()
        self.arrests = self._arrests()
        self._solved: dict[Arrest | None, Solution] = {}
        self._bound: Solution | None = None

    def best(self, femoral: int, tibial: int, *, arrested: bool) -> Choice | None:
        """Return the lengthenings and arrest that come nearest to equal legs, with the fewest points among equals.

        None where that many lengthenings, or an arrest, have no place in the windows and limits. Equal again,
        the arrest comes first that closes fewer plates and corrects less.
        """
        numbers = (femoral, tibial) if self.primary == "femur" else (tibial, femoral)
        found = self._best_arrest(numbers) if arrested else self._best(numbers, None)
        if found is None:
            return None
        (value, steps), arrest = found
        return Choice(self._lengthenings(steps), arrest, value % REACH)

    def months_over(self, lengthenings: tuple[Lengthening, ...], arrest: Arrest | None) -> float:
        """Return the months until maturity with more difference than the burden's limit, on the central outlook."""
        left = self.difference - self.effects.reached(arrest, self.ages)
        for item in lengthenings:
            left -= np.where(self.ages >= item.age_years, item.amount_mm, 0.0)
        return float(np.sum((left > self.number("burden_over_mm")) & self._growing())) * self.grid.months

    def excess(self, left_mm: Floats) -> Floats:
        """Return how far remaining differences miss the goal: 0 within the wished band, 1 within the accepted."""
        band, accepted = self.number("goal_band_mm"), self.number("goal_accepted_mm")
        return np.where(left_mm <= band, 0.0, np.where(left_mm <= accepted, 1.0, left_mm))

    def problem(self, arrest: Arrest | None) -> Problem:
        """Return the search problem with a growth arrest, or without one."""
        return Problem(*self.chains, over=self._gathered(self._over(arrest)))

    def score(self, arrest: Arrest | None) -> Ints:
        """Return what each pair of total gains costs at maturity (G1, G2): reach, uneven knees, height lost."""
        first, second = (np.arange(chain.gains) * self.step_mm for chain in self.chains)
        effect = arrest.effect_mm if arrest else 0.0
        left = np.abs(self.predicted_mm - effect - first[:, None] - second[None, :])
        reach = np.round(self.excess(left)).astype(np.int64) * 1000 + np.round(left / self.step_mm).astype(np.int64)
        uneven = np.abs(second - self._own_share(self.second, arrest)) if self.free[self.second] else second
        knee = self.number("weight_mm_knee_level") * uneven
        height = self.number("weight_mm_height_lost") * effect
        points: Ints = REACH * reach + np.round(POINT * (knee + height)).astype(np.int64)[None, :]
        return points

    def _best(
        self, numbers: Numbers, arrest: Arrest | None
    ) -> tuple[tuple[int, tuple[Step, ...]], Arrest | None] | None:
        found = cheapest(self._solution(arrest), numbers, self.score(arrest))
        return None if found is None else (found, arrest)

    def _best_arrest(self, numbers: Numbers) -> tuple[tuple[int, tuple[Step, ...]], Arrest | None] | None:
        """Return the best of all arrests: those first whose lower bound is lowest, until no bound is lower."""
        bound = self._lower_bound()
        bounds = [(least(bound, numbers, self.score(arrest)), at) for at, arrest in enumerate(self.arrests)]
        waiting = [(low, at) for low, at in bounds if low is not None]
        heapq.heapify(waiting)
        found: list[tuple[int, int, tuple[Step, ...]]] = []
        while waiting and (not found or waiting[0] < min(found)[:2]):
            _, at = heapq.heappop(waiting)
            here = self._best(numbers, self.arrests[at])
            if here is not None:
                found.append((here[0][0], at, here[0][1]))
        if not found:
            return None
        value, at, steps = min(found, key=lambda item: item[:2])
        return (value, steps), self.arrests[at]

    def _solution(self, arrest: Arrest | None) -> Solution:
        if arrest not in self._solved:
            self._solved[arrest] = Solution(self.problem(arrest))
        return self._solved[arrest]

    def _lower_bound(self) -> Solution:
        """Return the solution that counts a month as large only where every arrest leaves it large."""
        if self._bound is None:
            always = (
                np.min([self._over(arrest) for arrest in self.arrests], axis=0) if self.arrests else self._over(None)
            )
            self._bound = Solution(Problem(*self.chains, over=self._gathered(always)))
        return self._bound

    def _over(self, arrest: Arrest | None) -> Ints:
        """Return the points of each column (J, G) for each total gained: of months with a large difference."""
        limit, weight = self.number("burden_over_mm"), self.number("weight_month_over_25_mm")
        if self.wishes.lift_at_most_mm is not None:
            limit = min(limit, self.wishes.lift_at_most_mm + self.number("lift_less_than_difference_mm"))
            weight = self.number("weight_month_over_wished_lift")
        totals = sum(chain.gains for chain in self.chains) - 1
        left = self.difference - self.effects.reached(arrest, self.ages)
        months = (
            (left[:, None] - self.step_mm * np.arange(totals)[None, :] > limit) & self._growing()[:, None]
        ) * self.grid.months
        points: Ints = np.round(POINT * weight * months).astype(np.int64)
        return points

    def _gathered(self, over: Ints) -> Ints:
        return np.concatenate((np.zeros((1, over.shape[1]), np.int64), np.cumsum(over, axis=0)))

    def _growing(self) -> np.ndarray:
        return self.ages <= max(self.posterior.mature_age_years, float(self.ages[0]))

    def _possible(self, bone: Bone) -> tuple[StageNeed, ...]:
        needs = [n for n in self.graph.of_kind(LENGTHENING[bone]) if n.need == "possible"]
        return tuple(need for need in needs if self.timeline.start(need.id) is not None)

    def _chains(self) -> tuple[Chain, Chain]:
        """Return both chains; the second bone is not lengthened beyond its own shortening, to keep the knees level."""
        whole = max(self.predicted_mm, float(np.max(self.difference)), 0.0) + self.number("goal_accepted_mm")
        own = max(self._own_share(self.second, None), self.number("least_lengthening_mm"))
        return self._chain(self.primary, whole), self._chain(self.second, own)

    def _chain(self, bone: Bone, most_mm: float) -> Chain:
        if not self.free[bone]:
            return no_chain(len(self.ages))
        mm = self.central.short_femur_mm if bone == "femur" else self.central.short_tibia_mm
        mature = self.posterior.mature_age_years
        rules = ChainRules(
            bone,
            self.free[bone],
            mm[0],
            self.grid,
            self.graph,
            self.timeline,
            self.record,
            self.protocol,
            self.wishes,
            mature,
            self.on,
        )
        return rules.chain(most_mm)

    def _numbers(self, bone: Bone) -> range:
        needs = self.free[bone]
        required = any(not rule.optional for need in needs for rule, _ in need.indicated)
        if bone == self.primary or not required:
            return range(len(needs) + 1)
        return range(1, len(needs) + 1)

    def _arrests(self) -> tuple[Arrest, ...]:
        """Return the arrests that find a free day near their age and keep to the wishes."""
        if not self.graph.of_kind(ARREST):
            return ()
        earliest = arrest_from_years(self.protocol, self.record.child.sex, float(self.ages[0]))
        return tuple(
            arrest for arrest in arrests(self.effects, self.primary, earliest, self.protocol) if self._in_time(arrest)
        )

    def _in_time(self, arrest: Arrest) -> bool:
        day = day_at_age(self.born, arrest.age_years)
        free = free_day(day, calendar_of(self.record, self.protocol))
        before = self.wishes.finish_before
        return days_between(day, free) <= SLIP_DAYS and (
            before is None or free + datetime.timedelta(days=SLIP_DAYS) < before
        )

    def _own_share(self, bone: Bone, arrest: Arrest | None) -> float:
        long, short = (
            (self.central.long_femur_mm, self.central.short_femur_mm)
            if bone == "femur"
            else (self.central.long_tibia_mm, self.central.short_tibia_mm)
        )
        own = float(long[0, -1] - short[0, -1])
        if arrest is not None and PLATES[bone] in arrest.physes and len(arrest.physes) > 1:
            own -= arrest.effect_mm * own / max(self.predicted_mm, own)
        return own

    def _lengthenings(self, steps: tuple[Step, ...]) -> tuple[Lengthening, ...]:
        found, gained, count = [], [0.0, 0.0], [0, 0]
        lengths = {"femur": self.central.short_femur_mm[0], "tibia": self.central.short_tibia_mm[0]}
        for step in steps:
            bone = self.primary if step.chain == 0 else self.second
            need = self.free[bone][count[step.chain]]
            age, mm = float(self.ages[step.column]), step.units * self.step_mm
            length = float(lengths[bone][step.column]) + gained[step.chain]
            found.append(
                Lengthening(need.id, bone, age, mm, length, limits_at(self.protocol, LENGTHENING[bone], age, length))
            )
            gained[step.chain] += mm
            count[step.chain] += 1
        return tuple(found)
