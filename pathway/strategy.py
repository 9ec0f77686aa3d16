"""Courses: how many lengthenings at what ages and amounts, with or without growth arrest of the long leg.

Deterministic on the median outlook: for each number of lengthenings and each arrest, the course that comes
nearest to equal legs, then the cheapest by the protocol's weights. Spread and chances are then read off the
growth draws, with the amounts kept as planned.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from pathway.course import (
    ARREST,
    LENGTHENING,
    PLATES,
    PROSTHETIC,
    Arrest,
    Course,
    Lengthening,
    course_id,
    course_steps,
    limits_at,
    summary_of,
)
from pathway.days import age_years
from pathway.growth import Outlook, Posterior, outlook
from pathway.protocol.model import AmountLimit, Bone, Protocol
from pathway.record import Record
from pathway.search import Floats, Problem, Solution, as_mm, solve
from pathway.staging import StageGraph, StageNeed
from pathway.timing import Timeline, age_windows, device_days

HORIZON_YEARS = 20.0


def courses(
    graph: StageGraph,
    timeline: Timeline,
    posterior: Posterior,
    record: Record,
    protocol: Protocol,
    on: datetime.date,
) -> tuple[Course, ...]:
    """Return the best course for each number of lengthenings with and without growth arrest, best first.

    The first within the protocol is recommended, unless the family or team chose another; every other says
    why it lost. A prosthetic road is among them where the protocol offers it.
    """
    return _Strategist(graph, timeline, posterior, record, protocol, on).ranked()


class _Strategist:
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
        self.predicted = float(self.central.at_maturity()[0])
        self.primary: Bone = protocol.diagnosis(record.child.diagnosis).bones[0]
        self.free = {bone: self._possible(bone) for bone in LENGTHENING}
        self.solutions = {bone: self._solve(bone, ()) for bone in LENGTHENING}
        self.arrest_need = next((n for n in graph.of_kind(ARREST) if n.need == "optional"), None)
        self.base_operations = sum(
            need.need == "planned" and need.stage.operation and need.stage.lane != "length" for need in graph.needs
        )

    def _grid(self) -> Floats:
        now = age_years(self.born, self.on) + self.number("planning_lead_days") / 365.25
        first = math.ceil(now * 12 / self.grid_months - 1e-9) * self.grid_months
        last = max(first, round(HORIZON_YEARS * 12))
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

    def _solve(self, bone: Bone, busy: tuple[tuple[float, float], ...]) -> tuple[Problem, Solution] | None:
        needs = self.free[bone]
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
        most = max(self.predicted, float(np.max(self.difference)), 0.0) + self.number("goal_accepted_mm")
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
            most_units=math.ceil(most / self.step_mm),
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

    def _allowed(self, need: StageNeed, busy: tuple[tuple[float, float], ...]) -> list[bool]:
        window = self.timeline.start(need.id)
        if window is None:
            return [False] * len(self.ages)
        low = window.earliest_day / 365.25 - 1 / 24
        high = math.inf if window.latest_day is None else window.latest_day / 365.25 + 1 / 365
        if all(rule.at_maturity for rule, _ in need.indicated):
            low = max(low, self.posterior.mature_age_years)
        return [
            low <= age <= high and not any(start < age < end for start, end in busy) for age in map(float, self.ages)
        ]

    def _outside(self, need: StageNeed) -> list[float]:
        rules = list(age_windows(need, self.record.child.sex, self.protocol, hard=False))
        lows = [r.at_least_months for r in rules if r.at_least_months is not None]
        highs = [r.at_most_months for r in rules if r.at_most_months is not None]
        low, high = max(lows, default=0), min(highs, default=math.inf)
        return [max(0.0, low - 12 * age, 12 * age - high) for age in map(float, self.ages)]

    def ranked(self) -> tuple[Course, ...]:
        found = list(self._all())
        preferences = {d.prefer for d in self.record.decisions if d.kind == "prefer"}
        found.sort(key=lambda course: self._key(course, preferences))
        chosen = [d.course for d in self.record.decisions if d.kind == "choose_course"]
        best = next((c for c in found if chosen and c.id == chosen[-1]), None)
        best = best or next((c for c in found if c.within_protocol), None)
        ordered = sorted(found, key=lambda course: course is not best)
        return tuple(
            replace(course, recommended=course is best, lost_because=self._lost(course, best)) for course in ordered
        )

    def _all(self) -> Iterator[Course]:
        numbers = {bone: self._numbers(bone) for bone in LENGTHENING}
        for femoral in numbers["femur"]:
            for tibial in numbers["tibia"]:
                for arrested in (False, True):
                    course = self._best(femoral, tibial, arrested)
                    if course is not None:
                        yield course
        need = next((n for n in self.graph.of_kind(PROSTHETIC) if n.need == "optional"), None)
        if need is not None:
            yield self._prosthetic()

    def _numbers(self, bone: Bone) -> range:
        needs = self.free[bone]
        required = any(not rule.optional for need in needs for rule, _ in need.indicated)
        if bone == self.primary or not required:
            return range(len(needs) + 1)
        return range(1, len(needs) + 1)

    def _best(self, femoral: int, tibial: int, arrested: bool) -> Course | None:
        if arrested and self.arrest_need is None:
            return None
        best: tuple[tuple[float, ...], list[Lengthening], Arrest | None] | None = None
        for arrest in self._arrests() if arrested else (None,):
            option = self._amounts(femoral, tibial, arrest)
            if option is not None and (best is None or option[0] < best[0]):
                best = (*option, arrest)
        if best is None:
            return None
        return self._course(tuple(best[1]), best[2])

    def _arrests(self) -> Iterator[Arrest]:
        other: Bone = "tibia" if self.primary == "femur" else "femur"
        low, high = self.number("arrest_least_mm"), self.number("arrest_most_mm")
        for physes in ((PLATES[self.primary],), (PLATES[self.primary], PLATES[other])):
            effect = self._arrest_effect(physes)
            for mm in np.arange(low, high + 0.1, self.step_mm):
                if effect[0] >= mm:
                    age = float(np.interp(-mm, -effect, self.ages))
                    yield Arrest(ARREST, age, physes, float(mm))
            if len(physes) == 1 and effect[0] >= high:
                return

    def _arrest_effect(self, physes: tuple[str, ...]) -> Floats:
        """Growth that closing the plates would still prevent, at each age of the grid, mm (falling)."""
        total = np.zeros(len(self.ages))
        for bone, mm in (("femur", self.central.long_femur_mm), ("tibia", self.central.long_tibia_mm)):
            plate = PLATES[bone]  # type: ignore[index]
            if plate in physes:
                total += self.posterior.shares[plate] * (mm[0, -1] - mm[0])
        return total

    def _amounts(
        self, femoral: int, tibial: int, arrest: Arrest | None
    ) -> tuple[tuple[float, ...], list[Lengthening]] | None:
        target = self.predicted - (arrest.effect_mm if arrest else 0.0)
        numbers = {"femur": femoral, "tibia": tibial}
        second: Bone = "tibia" if self.primary == "femur" else "femur"
        second_gain = 0.0
        second_cost = 0.0
        if numbers[second]:
            want = self._own_share(second, arrest)
            gains = self._gains(second, numbers[second])
            if not gains:
                return None
            second_gain = min(gains, key=lambda mm: (abs(mm - want), gains[mm]))
            second_cost = gains[second_gain]
        gains = self._gains(self.primary, numbers[self.primary])
        if not gains:
            return None

        def key(mm: float) -> tuple[float, ...]:
            left = abs(target - second_gain - mm)
            return (self._excess(left), round(left / self.step_mm), gains[mm] + second_cost)

        first_gain = min(gains, key=key)
        first = self._lengthenings(self.primary, numbers[self.primary], first_gain, self.solutions[self.primary])
        busy = self._busy(first)
        again = self._solve(second, busy) if numbers[second] and busy else self.solutions[second]
        if numbers[second] and (again is None or not np.isfinite(self._cost(again, numbers[second], second_gain))):
            return None
        both = [*first, *self._lengthenings(second, numbers[second], second_gain, again)]
        return key(first_gain), sorted(both, key=lambda item: item.age_years)

    def _own_share(self, bone: Bone, arrest: Arrest | None) -> float:
        long, short = (
            (self.central.long_femur_mm, self.central.short_femur_mm)
            if bone == "femur"
            else (self.central.long_tibia_mm, self.central.short_tibia_mm)
        )
        own = float(long[0, -1] - short[0, -1])
        if arrest is not None and PLATES[bone] in arrest.physes and len(arrest.physes) > 1:
            own -= arrest.effect_mm * own / max(self.predicted, own)
        return own

    def _gains(self, bone: Bone, number: int) -> dict[float, float]:
        """Total gains (mm) that `number` lengthenings of a bone can reach, with their cost."""
        if number == 0:
            return {0.0: 0.0}
        solved = self.solutions[bone]
        if solved is None:
            return {}
        cost = solved[1].cost[number]
        return {g * self.step_mm: float(cost[g]) for g in range(len(cost)) if np.isfinite(cost[g])}

    def _cost(self, solved: tuple[Problem, Solution], number: int, gain: float) -> float:
        return float(solved[1].cost[number][round(gain / self.step_mm)])

    def _excess(self, left: float) -> float:
        band, accepted = self.number("goal_band_mm"), self.number("goal_accepted_mm")
        return 0.0 if left <= band else 1.0 if left <= accepted else left

    def _busy(self, chosen: list[Lengthening]) -> tuple[tuple[float, float], ...]:
        """Ages blocked for the other bone by rules of either order, around each chosen lengthening."""
        rules = [rule for rule in self.protocol.intervals if rule.either_order]
        apart = max((rule.at_least_months or 0 for rule in rules), default=0) / 12
        spans = []
        longest = self.number("tibia_days_per_cm") * self.number("arrest_most_mm") / 10 / 365.25
        for item in chosen:
            own = device_days(self.protocol, item.bone, item.amount_mm) / 365.25
            spans.append((item.age_years - apart - longest, item.age_years + own + apart + 1 / 24))
        return tuple(spans)

    def _lengthenings(
        self, bone: Bone, number: int, gain: float, solved: tuple[Problem, Solution] | None
    ) -> list[Lengthening]:
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

    def _course(self, lengthenings: tuple[Lengthening, ...], arrest: Arrest | None) -> Course:
        steps = course_steps(lengthenings, arrest)
        last = self.ages[-1:]
        central = float(outlook(self.posterior.central(), steps, last).at_maturity()[0])
        draws = outlook(self.posterior, steps, last).at_maturity()
        with_plan = outlook(self.posterior.central(), steps, self.ages)
        days = sum(device_days(self.protocol, item.bone, item.amount_mm) for item in lengthenings)
        against = any(
            not need.within_protocol for need in self.graph.needs if need.id in {i.stage for i in lengthenings}
        )
        return Course(
            id=course_id(lengthenings, arrest),
            summary=summary_of(lengthenings, arrest),
            lengthenings=lengthenings,
            arrest=arrest,
            prosthetic=False,
            within_protocol=not against and self._declines_kept(lengthenings, arrest),
            predicted_mm=self.predicted,
            residual_mm=central,
            draws_mm=draws,
            operations=self.base_operations + 2 * len(lengthenings) + (arrest is not None),
            device_months=round(days / 30.4375, 1),
            months_over=self._over(with_plan),
            height_lost_mm=arrest.effect_mm if arrest else 0.0,
        )

    def _declines_kept(self, lengthenings: tuple[Lengthening, ...], arrest: Arrest | None) -> bool:
        declined = {decision.stage for decision in self.record.decisions if decision.kind == "decline"}
        kinds = {LENGTHENING[item.bone] for item in lengthenings} | ({ARREST} if arrest else set())
        return not kinds & declined

    def _over(self, with_plan: Outlook) -> float:
        mature = with_plan.age_years <= max(self.posterior.mature_age_years, float(self.ages[0]))
        above = with_plan.discrepancy_mm[0] > self.number("burden_over_mm")
        return float(np.sum(above & mature)) * self.grid_months

    def _prosthetic(self) -> Course:
        draws = outlook(self.posterior, (), self.ages[-1:]).at_maturity()
        return Course(
            id="prosthetic_road",
            summary="prosthetic road instead of lengthening",
            lengthenings=(),
            arrest=None,
            prosthetic=True,
            within_protocol=True,
            predicted_mm=self.predicted,
            residual_mm=self.predicted,
            draws_mm=draws,
            operations=1,
            device_months=0.0,
            months_over=0.0,
            height_lost_mm=0.0,
        )

    def _key(self, course: Course, preferences: set[str | None]) -> tuple[float | int | bool | str, ...]:
        left = abs(course.residual_mm)
        beyond = any(not need.within_protocol for need in self.graph.needs if need.need == "possible")
        reach = (0.0 if beyond else math.inf) if course.prosthetic else self._excess(left)
        avoid = "no_growth_arrest" in preferences and course.arrest is not None
        few = course.operations if "fewest_operations" in preferences else 0
        device = course.device_months if "least_device_time" in preferences else 0.0
        accepted = self.number("goal_accepted_mm")
        wished = (few, device) if left <= accepted or course.prosthetic else (math.inf, math.inf)
        return (
            not course.within_protocol,
            avoid,
            *(wished if few or device else (0, 0.0)),
            round(reach),
            course.operations,
            course.device_months,
            course.months_over,
            course.id,
        )

    def _lost(self, course: Course, best: Course | None) -> str:
        if best is None or course is best:
            return ""
        reasons = []
        if not course.within_protocol:
            reasons.append("outside the protocol or declined by the family")
        if course.prosthetic:
            return "another road: to be shown in equal detail, not ranked by length"
        if best.prosthetic:
            return "; ".join(reasons) or "the protocol puts the prosthetic road first here"
        if self._excess(abs(course.residual_mm)) > self._excess(abs(best.residual_mm)):
            side = "longer" if course.residual_mm < 0 else "shorter"
            reasons.append(f"leaves the treated leg {abs(course.residual_mm):.0f} mm {side}")
        if course.operations > best.operations:
            more = course.operations - best.operations
            reasons.append(f"{more} more operation{'s' if more > 1 else ''}")
        elif course.operations == best.operations and course.device_months > best.device_months:
            reasons.append(f"{course.device_months - best.device_months:.1f} more months with a device")
        if course.arrest is not None and best.arrest is None:
            reasons.append(f"costs about {course.height_lost_mm:.0f} mm of adult height")
        return "; ".join(reasons) or "equal in goal and operations, more months with a large difference"
