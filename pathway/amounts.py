"""Ages and amounts of the lengthenings and the growth arrest that come nearest to equal legs.

On a grid of ages and in steps of the plan, for each number of lengthenings of each bone. Deterministic on the
central growth projection.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator

import numpy as np

from pathway.calendar import calendar_of, free_day
from pathway.course import ARREST, LENGTHENING, PLATES, Arrest, Lengthening, limits_at
from pathway.days import age_years, day_at_age, days_between
from pathway.growth import Posterior, outlook
from pathway.protocol.model import AmountLimit, Bone, Protocol
from pathway.record import Record
from pathway.search import Floats, Problem, Solution, as_mm, solve
from pathway.staging import StageGraph, StageNeed
from pathway.timing import SLIP_DAYS, Timeline, age_windows, device_days

Spans = tuple[tuple[float, float], ...]
Solved = tuple[Problem, Solution] | None


class AmountSearch:
    """The search of one child: its grid of ages, the projection on it, and the solved problem of each bone.

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
        self.born = record.child.date_of_birth
        self.number = protocol.number
        self.step_mm = self.number("amount_step_mm")
        self.grid_months = int(self.number("age_grid_months"))
        self.ages = self._grid()
        self.central = outlook(posterior.central(), (), self.ages)
        self.difference = self.central.discrepancy_mm[0]
        self.predicted_mm = float(self.central.at_maturity()[0])
        self.primary: Bone = protocol.diagnosis(record.child.diagnosis).bones[0]
        self.second: Bone = "tibia" if self.primary == "femur" else "femur"
        self.free = {bone: self._possible(bone) for bone in LENGTHENING}
        self.numbers = {bone: self._numbers(bone) for bone in LENGTHENING}
        self.free_days = [self._free_from(age) for age in map(float, self.ages)]
        self.around: dict[tuple[Bone, Spans, int], Solved] = {}
        self.solutions = {bone: self._solve(bone, self._busy_already(bone)) for bone in LENGTHENING}

    def best(
        self, femoral: int, tibial: int, *, arrested: bool
    ) -> tuple[tuple[Lengthening, ...], Arrest | None] | None:
        """Return the lengthenings and arrest that come nearest to equal legs, cheapest among equals.

        None where that many lengthenings, or an arrest, have no place in the windows and limits.
        """
        numbers: dict[Bone, int] = {"femur": femoral, "tibia": tibial}
        options = [(self._gain(numbers, arrest), arrest) for arrest in (self._arrests() if arrested else (None,))]
        possible = [(gain, arrest) for gain, arrest in options if gain is not None]
        for (_, first_gain, second_gain), arrest in sorted(possible, key=lambda option: option[0]):
            chosen = self._realised(numbers, first_gain, second_gain)
            if chosen is not None:
                return chosen, arrest
        return None

    def months_over(self, lengthenings: tuple[Lengthening, ...], arrest: Arrest | None) -> float:
        """Return the months until maturity with more difference than the burden's limit, on the central outlook."""
        left = self.difference.copy()
        for item in lengthenings:
            left -= np.where(self.ages >= item.age_years, item.amount_mm, 0.0)
        if arrest is not None:
            still = self._arrest_effect(arrest.physes)
            left -= np.where(self.ages >= arrest.age_years, arrest.effect_mm - np.minimum(still, arrest.effect_mm), 0.0)
        growing = self.ages <= max(self.posterior.mature_age_years, float(self.ages[0]))
        return float(np.sum((left > self.number("burden_over_mm")) & growing)) * self.grid_months

    def excess(self, left_mm: Floats) -> Floats:
        """Return how far remaining differences miss the goal: 0 within the wished band, 1 within the accepted."""
        band, accepted = self.number("goal_band_mm"), self.number("goal_accepted_mm")
        return np.where(left_mm <= band, 0.0, np.where(left_mm <= accepted, 1.0, left_mm))

    def _grid(self) -> Floats:
        now = age_years(self.born, self.on) + self.number("planning_lead_days") / 365.25
        first = math.ceil(now * 12 / self.grid_months - 1e-9) * self.grid_months
        last = max(first, round(12 * self.number("plan_ends_at_years")))
        return np.arange(first, last + 1, self.grid_months) / 12

    def _possible(self, bone: Bone) -> tuple[StageNeed, ...]:
        needs = [n for n in self.graph.of_kind(LENGTHENING[bone]) if n.need == "possible"]
        return tuple(need for need in needs if self.timeline.start(need.id) is not None)

    def _bone_mm(self, bone: Bone) -> Floats:
        mm = self.central.short_femur_mm if bone == "femur" else self.central.short_tibia_mm
        own: Floats = mm[0]
        return own

    def _limits(self, bone: Bone, warns: bool) -> list[AmountLimit]:
        kind = LENGTHENING[bone]
        return [r for r in self.protocol.amount_limits if r.stage == kind and r.warns == warns]

    def _solve(self, bone: Bone, busy: Spans, most: int | None = None) -> Solved:
        needs = self.free[bone][:most]
        if not needs:
            return None
        allowed = np.array([self._allowed(need, busy) for need in needs])
        outside = np.array([self._outside(need) for need in needs])
        flat = np.full(len(self.ages), np.inf)
        for rule in self._limits(bone, warns=False):
            if rule.most_mm is not None:
                inside = (self.ages >= rule.from_age_years) & (self.ages < rule.to_age_years)
                flat = np.where(inside, np.minimum(flat, rule.most_mm), flat)
        hard = [r.most_percent for r in self._limits(bone, False) if r.most_percent is not None]
        warn = [r.most_percent for r in self._limits(bone, True) if r.most_percent is not None]
        warn_mm = [r.most_mm for r in self._limits(bone, True) if r.most_mm is not None]
        whole = max(self.predicted_mm, float(np.max(self.difference)))
        share = whole if bone == self.primary else self._own_share(bone, None)
        reach = max(share, 0.0) + self.number("goal_accepted_mm")
        problem = Problem(
            step_mm=self.step_mm,
            months_a_column=self.grid_months,
            bone_mm=self._bone_mm(bone),
            difference_mm=self.difference,
            limit_mm=flat,
            limit_share=min(hard, default=math.inf) / 100,
            warn_mm=min(warn_mm, default=math.inf),
            warn_share=min(warn, default=math.inf) / 100,
            allowed=allowed,
            outside_months=outside,
            gap=self._gap(bone),
            least=math.ceil(self.number("least_lengthening_mm") / self.step_mm),
            most_units=math.ceil(reach / self.step_mm),
            over_mm=self.number("burden_over_mm"),
            weight_outside=self.number("weight_month_outside_preferred_age"),
            weight_over=self.number("weight_month_over_25_mm"),
            weight_warn=self.number("weight_mm_over_warning"),
        )
        return problem, solve(problem)

    def _gap(self, bone: Bone) -> int:
        kind = LENGTHENING[bone]
        months = [r.at_least_months or 0 for r in self.protocol.intervals if r.next and r.earlier_stage == kind]
        return math.ceil(max(months, default=self.grid_months) / self.grid_months)

    def _allowed(self, need: StageNeed, busy: Spans) -> list[bool]:
        window = self.timeline.start(need.id)
        if window is None:
            return [False] * len(self.ages)
        low = window.earliest_day / 365.25 - 1 / 24
        # Half a month is left before the last day, because weekends and rounded months move dates on.
        high = math.inf if window.latest_day is None else window.latest_day / 365.25 - 1 / 24
        if all(rule.at_maturity for rule, _ in need.indicated):
            low = max(low, self.posterior.mature_age_years)
        return [
            low <= age <= high
            and not any(start < age < end for start, end in busy)
            and (window.latest_day is None or free <= window.latest_day)
            for age, free in zip(map(float, self.ages), self.free_days, strict=True)
        ]

    def _free_from(self, age: float) -> int:
        """Days after birth of the first working day from an age on that the family has not blocked."""
        return days_between(self.born, free_day(day_at_age(self.born, age), calendar_of(self.record, self.protocol)))

    def _outside(self, need: StageNeed) -> list[float]:
        rules = list(age_windows(need, self.record.child.sex, self.protocol, hard=False))
        lows = [r.at_least_months for r in rules if r.at_least_months is not None]
        highs = [r.at_most_months for r in rules if r.at_most_months is not None]
        low, high = max(lows, default=0), min(highs, default=math.inf)
        return [max(0.0, low - 12 * age, 12 * age - high) for age in map(float, self.ages)]

    def _numbers(self, bone: Bone) -> range:
        needs = self.free[bone]
        required = any(not rule.optional for need in needs for rule, _ in need.indicated)
        if bone == self.primary or not required:
            return range(len(needs) + 1)
        return range(1, len(needs) + 1)

    def _arrests(self) -> Iterator[Arrest]:
        """Every growth arrest in steps of the plan: by the plate of the deficient bone, or by both knee plates."""
        both = (PLATES[self.primary], PLATES[self.second])
        low, high = self.number("arrest_least_mm"), self.number("arrest_most_mm")
        earliest = self._arrest_from()
        effect_of_both = self._arrest_effect(both)
        for physes in ((PLATES[self.primary],), both):
            effect = self._arrest_effect(physes)
            most = float(np.interp(earliest, self.ages, effect))
            for mm in map(float, np.arange(low, high + self.step_mm / 2, self.step_mm)):
                if most >= mm:
                    age = float(np.interp(-mm, -effect, self.ages))
                    last = float(np.interp(-mm, -effect_of_both, self.ages))
                    if self._free_from(age) <= days_between(self.born, day_at_age(self.born, age)) + SLIP_DAYS:
                        yield Arrest(ARREST, age, physes, mm, last)
            if most >= high:
                return

    def _arrest_from(self) -> float:
        """Youngest age (years) at which the rules allow a growth arrest, not before the plan's first day."""
        months = [
            rule.at_least_months or 0
            for rule in self.protocol.age_windows
            if rule.stage == ARREST and rule.hard and rule.sex in (None, self.record.child.sex)
        ]
        return max(float(self.ages[0]), *(month / 12 for month in months), 0.0)

    def _arrest_effect(self, physes: tuple[str, ...]) -> Floats:
        """Growth that closing the plates would still prevent, at each age of the grid, mm (falling)."""
        total = np.zeros(len(self.ages))
        for bone, plate in PLATES.items():
            if plate in physes:
                mm = self.central.long_femur_mm[0] if bone == "femur" else self.central.long_tibia_mm[0]
                total += self.posterior.shares[plate] * (mm[-1] - mm)
        return total

    def _gain(self, numbers: dict[Bone, int], arrest: Arrest | None) -> tuple[tuple[float, ...], float, float] | None:
        """Return (rank, gain of the first bone, gain of the second) nearest to equal legs, mm, or None."""
        (firsts, first_costs), (seconds, second_costs) = (
            self._gains(bone, numbers[bone]) for bone in (self.primary, self.second)
        )
        if not len(firsts) or not len(seconds):
            return None
        want = self._own_share(self.second, arrest)
        second = int(np.lexsort((second_costs, np.abs(seconds - want)))[0])
        target = self.predicted_mm - float(seconds[second]) - (arrest.effect_mm if arrest else 0.0)
        left = np.abs(target - firsts)
        ranks = (self.excess(left), np.round(left / self.step_mm), first_costs + second_costs[second])
        first = int(np.lexsort(ranks[::-1])[0])
        return tuple(float(part[first]) for part in ranks), float(firsts[first]), float(seconds[second])

    def _realised(
        self, numbers: dict[Bone, int], first_gain: float, second_gain: float
    ) -> tuple[Lengthening, ...] | None:
        """Return the lengthenings that reach both gains, the second bone's around the first's, or None."""
        first = self._lengthenings(self.primary, numbers[self.primary], first_gain, self.solutions[self.primary])
        second, number = self.second, numbers[self.second]
        if number == 0:
            return tuple(first)
        around = self._solve_around(second, self._busy(second, first), number) if first else self.solutions[second]
        if around is None or not np.isfinite(self._cost(around, number, second_gain)):
            return None
        both = [*first, *self._lengthenings(second, number, second_gain, around)]
        return tuple(sorted(both, key=lambda item: item.age_years))

    def _solve_around(self, bone: Bone, busy: Spans, number: int) -> Solved:
        """Return the solved problem of a bone for up to `number` lengthenings outside the busy ages."""
        if (bone, busy, number) not in self.around:
            self.around[bone, busy, number] = self._solve(bone, (*busy, *self._busy_already(bone)), number)
        return self.around[bone, busy, number]

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

    def _gains(self, bone: Bone, number: int) -> tuple[Floats, Floats]:
        """Total gains (mm, rising) that `number` lengthenings of a bone can reach, with their costs."""
        solved = self.solutions[bone]
        if number == 0:
            return np.zeros(1), np.zeros(1)
        if solved is None:
            return np.zeros(0), np.zeros(0)
        cost = solved[1].cost[number]
        reached = np.flatnonzero(np.isfinite(cost))
        return reached * self.step_mm, cost[reached]

    def _cost(self, solved: tuple[Problem, Solution], number: int, gain: float) -> float:
        return float(solved[1].cost[number][round(gain / self.step_mm)])

    def _busy(self, bone: Bone, chosen: list[Lengthening]) -> Spans:
        """Ages blocked for a bone by rules of either order, around each chosen lengthening of the other one."""
        return tuple(
            self._span(bone, item.age_years, device_days(self.protocol, item.bone, item.amount_mm) / 365.25)
            for item in chosen
        )

    def _span(self, bone: Bone, start_age: float, device_years: float) -> tuple[float, float]:
        rules = [rule for rule in self.protocol.intervals if rule.either_order]
        apart = max((rule.at_least_months or 0 for rule in rules), default=0) / 12
        most = max((rule.most_mm or 0.0 for rule in self._limits(bone, warns=False)), default=0.0)
        longest = device_days(self.protocol, bone, most) / 365.25
        return start_age - apart - longest, start_age + device_years + apart + 1 / 24

    def _busy_already(self, bone: Bone) -> Spans:
        """Ages blocked for a bone by lengthenings of the other bone that are done or under way."""
        spans = []
        for need in self.graph.needs:
            if need.stage.bone not in (None, bone) and need.done_on is not None:
                start = age_years(self.born, need.done_on)
                end = age_years(self.born, need.ended_on or self.on)
                spans.append(self._span(bone, start, end - start))
        return tuple(spans)

    def _lengthenings(self, bone: Bone, number: int, gain: float, solved: Solved) -> list[Lengthening]:
        if number == 0 or solved is None:
            return []
        problem, solution = solved
        found, gained = [], 0.0
        steps = as_mm(problem, solution.steps(number, round(gain / self.step_mm)))
        for need, (column, mm) in zip(self.free[bone], steps, strict=False):
            age, length = float(self.ages[column]), float(problem.bone_mm[column]) + gained
            found.append(
                Lengthening(need.id, bone, age, mm, length, limits_at(self.protocol, LENGTHENING[bone], age, length))
            )
            gained += mm
        return found
