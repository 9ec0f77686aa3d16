"""The rules of one bone's lengthenings as a chain of the search: windows, limits, waiting times, points."""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pathway.courses.grid_search import Chain, Ints
from pathway.days import age_years, day_at_age, days_between, in_months, most_days
from pathway.growth.reference_curves import Floats
from pathway.preferences import Wishes
from pathway.protocol.model import AmountLimit, Bone, Interval, Protocol, Stage
from pathway.protocol.question import Question
from pathway.record import Record
from pathway.rule_engine.graph import ChildGraph, StageItem
from pathway.timing.calendar import calendar_of, free_day
from pathway.timing.rule_links import SLIP_DAYS, age_windows, device_days
from pathway.timing.windows import Timeline

POINT = 100
"""Costs are counted in hundredths of a point, so that they are whole numbers."""
_MONTH_AND_A_HALF = 1 / 24


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """The ages that are searched, `months` apart, with the first day from each that is free for an operation."""

    age_years: Floats
    months: int
    free_days: tuple[int, ...]
    step_mm: float

    def columns(self, months: float) -> int:
        """Return how many steps of the grid cover so many months."""
        return math.ceil(months / self.months - 1e-9)


def grid_of(question: Question, mature_age_years: float = 0.0) -> Grid:
    """Return the grid from the first possible day to the end of the plan: an age, or some time after growth."""
    born, months = question.record.child.date_of_birth, int(question.protocol.number("age_grid_months"))
    now = age_years(born, question.on) + question.protocol.number("planning_lead_days") / 365.25
    first = math.ceil(now * 12 / months - 1e-9) * months
    after_growth = int(12 * mature_age_years + question.protocol.number("plan_ends_after_growth_months"))
    last = max(first, round(12 * question.protocol.number("plan_ends_at_years")), after_growth // months * months)
    ages = np.arange(first, last + 1, months) / 12
    calendar = calendar_of(question.record, question.protocol)
    free = tuple(days_between(born, free_day(day_at_age(born, float(age)), calendar)) for age in ages)
    return Grid(ages, months, free, question.protocol.number("amount_step_mm"))


@dataclass(frozen=True, eq=False)
class ChainRules:
    """What the rules say of lengthening one bone of one child in one way, for any length that may be gained.

    `other` is the way in which the other bone is lengthened in the same course, `stages` are those still possible.
    `grown_from` gives the age from which a bone has so little left to grow; what binds only while a bone grows binds
    always without it.
    """

    kind: Stage
    other: Stage | None
    stages: tuple[StageItem, ...]
    bone_mm: Floats
    grid: Grid
    graph: ChildGraph
    timeline: Timeline
    record: Record
    protocol: Protocol
    wishes: Wishes
    mature_age_years: float
    on: datetime.date
    grown_from: Callable[[Bone, float], float] | None = None

    @property
    def bone(self) -> Bone:
        """Return the bone that is lengthened."""
        if self.kind.bone is None:
            raise ValueError(f"{self.kind.id} lengthens no bone")
        return self.kind.bone

    def chain(self, most_mm: float) -> Chain:
        """Return the chain for total gains up to `most_mm`."""
        units = max(math.ceil(most_mm / self.grid.step_mm), 0)
        largest = self._largest(units)
        amounts = self.grid.step_mm * np.arange(largest + 1)
        device = np.array([device_days(self.protocol, self.bone, float(mm)) for mm in amounts])
        gained = self.bone_mm[:, None] + self.grid.step_mm * np.arange(units + 1)[None, :]
        number = self.protocol.number
        warn = np.minimum(*self._lowest(gained, warns=True))
        over_warning = np.maximum(0.0, amounts[None, None, :] - warn[:, :, None])
        points = number("weight_device_month") * np.array([in_months(int(days)) for days in device])
        shape = (len(self.stages), len(self.grid.age_years))
        return Chain(
            most=np.array([self._most(item, device) for item in self.stages], np.int64).reshape(shape),
            limit=self._units(np.minimum(*self._lowest(gained, warns=False))),
            age_points=np.array([self._age_points(item) for item in self.stages], np.int64).reshape(shape),
            amount_points=_points(points),
            warn_points=_points(number("weight_mm_over_warning") * over_warning),
            wait=self._waits(device, grown=float(self.grid.age_years[0]) >= self.grown_years),
            wait_other=np.array([self._wait_other(int(days)) for days in device], np.int64),
            least=math.ceil(number("least_lengthening_mm") / self.grid.step_mm),
        )

    def _limits(self, warns: bool) -> list[AmountLimit]:
        own = [rule for rule in self.protocol.amount_limits if rule.stage == self.kind.id and rule.warns == warns]
        return [rule for rule in own if rule.id not in self.graph.limits_off]

    def _lowest(self, gained: Floats, *, warns: bool) -> tuple[Floats, Floats]:
        """Return the lowest flat limit (J, 1) and the lowest share of the bone (J, G), mm."""
        ages = self.grid.age_years
        flat, share = np.full(len(ages), np.inf), np.full(len(ages), np.inf)
        for rule in self._limits(warns):
            inside = (ages >= rule.from_age_years) & (ages < rule.to_age_years)
            if rule.most_mm is not None:
                flat = np.where(inside, np.minimum(flat, rule.most_mm), flat)
            if rule.most_percent is not None:
                share = np.where(inside, np.minimum(share, rule.most_percent / 100), share)
        return flat[:, None], share[:, None] * gained

    def _units(self, mm: Floats) -> Ints:
        counted = np.floor(np.where(np.isfinite(mm), mm, 1e6) / self.grid.step_mm + 1e-9)
        return counted.astype(np.int64)

    def _largest(self, units: int) -> int:
        """Return the largest amount in units that any limit leaves."""
        flat = [rule.most_mm for rule in self._limits(False) if rule.most_mm is not None]
        return min(units, math.floor(max(flat, default=math.inf) / self.grid.step_mm)) if flat else units

    def _most(self, item: StageItem, device: Ints) -> list[int]:
        """Return the largest amount in units at each age that windows, other devices and wishes leave."""
        window, largest = self.timeline.start(item.id), len(device) - 1
        if window is None:
            return [0] * len(self.grid.age_years)
        low = window.earliest_day / 365.25 - _MONTH_AND_A_HALF
        # Half a month is left before the last day, because weekends and rounded months move dates on.
        high = math.inf if window.latest_day is None else window.latest_day / 365.25 - _MONTH_AND_A_HALF
        if all(rule.at_maturity for rule, _ in item.indicated):
            low = max(low, self.mature_age_years)
        low = max(low, self._other_device_off())
        fits = self._fits(device)
        return [
            fits(free, largest)
            if low <= age <= high and (window.latest_day is None or free <= window.latest_day)
            else 0
            for age, free in zip(map(float, self.grid.age_years), self.grid.free_days, strict=True)
        ]

    def _fits(self, device: Ints) -> Callable[[int, int], int]:
        """Return the largest amount, at most so much, whose device is off in time when put on at a day of life."""
        born = self.record.child.date_of_birth
        if not self.wishes.device_free and self.wishes.finish_before is None:
            return lambda _day, most: most

        def fits(day: int, most: int) -> int:
            start = born + datetime.timedelta(days=day)
            for units in range(most, 0, -1):
                end = start + datetime.timedelta(days=int(device[units]) + SLIP_DAYS)
                if self.wishes.device_ends_in_time(start, end):
                    return units
            return 0

        return fits

    def _other_device_off(self) -> float:
        """Return the age from which lengthenings of other kinds, done or under way, leave room (years)."""
        ages, born = [0.0], self.record.child.date_of_birth
        for item in self.graph.of_role("lengthening"):
            if item.kind != self.kind.id and item.done_on is not None:
                end = age_years(born, item.ended_on or self.on)
                ages.append(end + self._apart_months(item.kind) / 12 + _MONTH_AND_A_HALF)
        return max(ages)

    def _apart_months(self, other: str) -> int:
        """Return the months that the rules keep between this and another way of lengthening, whichever comes first."""
        kinds = {self.kind.id, other}
        rules = [r for r in self.protocol.intervals if r.either_order and {r.earlier_stage, r.later_stage} == kinds]
        return max((rule.at_least_months or 0 for rule in rules), default=0)

    @cached_property
    def grown_years(self) -> float:
        """Return the age from which the bone grows so little that no rule about later growth binds (years)."""
        limits = [rule.while_growth_left_mm for rule in self._own_intervals() if rule.while_growth_left_mm is not None]
        if not limits or self.grown_from is None:
            return math.inf
        return self.grown_from(self.bone, min(limits))

    def wait_grown(self, chain: Chain) -> Ints:
        """Return the waiting times of a chain once the bone is grown."""
        amounts = self.grid.step_mm * np.arange(len(chain.wait))
        device = np.array([device_days(self.protocol, self.bone, float(mm)) for mm in amounts])
        return self._waits(device, grown=True)

    def _own_intervals(self) -> list[Interval]:
        own = (self.kind.id, self.kind.id)
        return [r for r in self.protocol.intervals if r.next and (r.earlier_stage, r.later_stage) == own]

    def _waits(self, device: Ints, *, grown: bool) -> Ints:
        return np.array([self._wait(int(days), grown=grown) for days in device], np.int64)

    def _wait(self, device: int, *, grown: bool) -> int:
        """Return the columns from a lengthening to the next one of this bone."""
        months = [in_months(device)]
        for rule in self._own_intervals():
            if grown and rule.while_growth_left_mm is not None:
                continue
            least = rule.at_least_months or 0
            from_end = rule.earlier.endswith(".end")
            months.append(in_months(device + most_days(least)) if from_end else float(least))
        return self.grid.columns(max(months))

    def _wait_other(self, device: int) -> int:
        """Return the columns from a lengthening to the next one of the other bone."""
        apart = self._apart_months(self.other.id) if self.other is not None else 0
        return self.grid.columns(in_months(device + most_days(apart))) if apart else 0

    def _age_points(self, item: StageItem) -> list[int]:
        rules = list(age_windows(item, self.record.child.sex, self.protocol, hard=False))
        lows = [r.at_least_months for r in rules if r.at_least_months is not None]
        highs = [r.at_most_months for r in rules if r.at_most_months is not None]
        low, high = max(lows, default=0), min(highs, default=math.inf)
        weight = self.protocol.number("weight_month_outside_preferred_age")
        months = 12 * self.grid.age_years
        return [int(p) for p in _points(weight * np.maximum(0.0, np.maximum(low - months, months - high)))]


def _points(values: Floats) -> Ints:
    return np.round(POINT * values).astype(np.int64)
