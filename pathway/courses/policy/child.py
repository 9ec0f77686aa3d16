"""One child as a programme: visits, forecast, lengthenings and arrests with what each costs and what may go wrong.

The child's course problem (windows, limits, waiting times) and its growth posterior are put into the tables that the
policy is worked out from. Two short bones are lengthened in a fixed order (see `bone_order`), each by its own tables.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pathway.courses.policy import programme as pg
from pathway.courses.policy.arrest_tables import ArrestChoices, arrest_choices, arrest_of, arrested_before
from pathway.courses.policy.bone_order import order_of
from pathway.courses.policy.lengthening_tables import (
    MadeTables,
    Stand,
    TurnTables,
    amounts_of,
    device_months,
    required_by_visit,
    tables_of,
    usable_of,
)
from pathway.courses.policy.risks import hip_cover, joint_before
from pathway.courses.policy.visits import Frames, sitting_of, waited_of, waits_of, when_of
from pathway.courses.problem import CourseProblem
from pathway.days import age_years
from pathway.growth import outlook
from pathway.growth.future_visits import learning
from pathway.growth.reference_curves import Floats
from pathway.protocol.model import Bone, Device, PrintedProgramme
from pathway.protocol.question import Question
from pathway.risk.step_risks import Level
from pathway.risk.steps import HipCover
from pathway.rule_engine.devices import device_of

_CLASSES = 3
# The grid reaches so many SDs and mm to each side, so much farther where an arrest or lost growth may lead.
_SDS, _EDGE_MM, _ARREST_BEYOND, _LOSS_MM = 3.0, 10.0, 1.3, 30.0
_LITTLE_STEPS, _MOST_HALVINGS = 8, 2
"""Where so few steps are predicted, decisions near a threshold need a finer grid; as fine as so many halvings."""
_GROWN_UP_AFTER_YEARS = 5.0
_LONG_LEG_GROWN = 0.95
"""Part of the growth from today on at which early and late maturing children are told apart."""


@dataclass(frozen=True, slots=True, eq=False)
class ChildProgramme:
    """A child's programme, and what its numbers stand for.

    `bones` are those of the lengthenings in their order (N,), `tables` the sets that the programme's `bone_of` names;
    `plates` are those of each arrest. A lengthening's `number` counts from 1, as in the steps of a path.
    """

    programme: pg.Programme
    bones: tuple[Bone, ...]
    cover: HipCover
    plates: tuple[tuple[str, ...], ...]
    tables: tuple[TurnTables, ...]

    @property
    def two_bones(self) -> bool:
        """Return whether both bones have a turn."""
        return len(set(self.bones)) > 1

    def percent_of(self, visit: int, amount: int, number: int, gain_index: int) -> float:
        """Return what share of its bone a lengthening is, after so many steps of gain in all."""
        return float(self._of(number).percent[visit, amount, gain_index])

    def outside_counts(self, visit: int, amount: int, number: int, gain_index: int) -> bool:
        """Return whether published counts do not reach so far."""
        return bool(self._of(number).risks.outside[visit, amount, gain_index])

    def device_of(self, visit: int, amount: int, number: int, gain_index: int) -> Device:
        """Return with which device a lengthening is done."""
        tables = self._of(number)
        return tables.devices[int(tables.used[visit, amount, gain_index])]

    def bone_of_tables(self, index: int) -> Bone:
        """Return the bone that a set of tables is of."""
        uses = (int(at) for at in self.programme.bone_of)
        return next((bone for bone, at in zip(self.bones, uses, strict=True) if at == index), self.bones[0])

    def _of(self, number: int) -> TurnTables:
        return self.tables[int(self.programme.bone_of[number - 1])]


def programme_of(
    problem: CourseProblem,
    question: Question,
    *,
    level: Level = "centre",
    slope: float | None = None,
    most: int | None = None,
    arrest: bool = True,
    grid_mm: float | None = None,
    within: PrintedProgramme | None = None,
) -> ChildProgramme | None:
    """Return the programme of one child; None where nothing can be decided: no lengthening is open and no arrest.

    `level` is that of the risks: a typical team, or the `low` or `high` end for a new one. `slope` is how much events
    grow with the percent of the bone (log for ten points more), the pooled table's own where None. At most `most`
    lengthenings, and an arrest only if `arrest`: what a narrower choice costs. `grid_mm` stands in for the step of
    forecast and gain that is chosen by what is predicted; it must divide the step of the plan. `within` is a
    programme of print, whose ages, amounts, devices and number of lengthenings are kept to.
    """
    return ProgrammeBuilder(problem, question, grid_mm).build(level, slope, most, arrest=arrest, within=within)


class ProgrammeBuilder:
    """The programmes of one child, one for each set of limits: what does not depend on them is worked out once."""

    def __init__(self, problem: CourseProblem, question: Question, grid_mm: float | None = None) -> None:
        self.problem, self.question = problem, question
        self.number, self.posterior = problem.number, problem.growth.posterior
        self.columns, self.choices = self._visits()
        self.ages = problem.grid.age_years[self.columns]
        self.steps = len(self.ages) - 1
        draws = outlook(self.posterior, (), np.append(self.ages, self.ages[-1] + _GROWN_UP_AFTER_YEARS))
        self.natural, self.long = draws.lengths("discrepancy"), draws.lengths("long_leg")
        self.mean, self.deviation = float(self.natural[:, -1].mean()), float(self.natural[:, -1].std())
        self.grid_mm = grid_mm or self._grid_mm()
        self.cover, self.joint = hip_cover(question), joint_before(question)
        self._made: MadeTables = {}

    def _every(self) -> int:
        """Return the columns of the problem's grid from one visit to the next."""
        return max(round(self.number("next_visit_months") / self.problem.grid.months), 1)

    def _grid_mm(self) -> float:
        """Return the step of the plan, halved once where little is predicted, and until it is no wider than the SD."""
        whole = self.problem.grid.step_mm
        halvings = 1 if self.mean < _LITTLE_STEPS * whole else 0
        while halvings < _MOST_HALVINGS and whole / 2**halvings > self.deviation:
            halvings += 1
        return float(whole / 2**halvings)

    def _visits(self) -> tuple[np.ndarray, ArrestChoices]:
        """Return the columns at which something is decided, until the end of growth and on, and what to arrest there.

        Half-years, and half of that between them where an arrest may be done.
        """
        grid, every = self.problem.grid, self._every()
        mature = max(self.posterior.mature_age_years, float(grid.age_years[0]))
        last = int(np.searchsorted(grid.age_years, mature + self.number("policy_after_growth_years")))
        columns = np.arange(0, min(max(last, every), len(grid.age_years) - 1) + 1)
        choices = arrest_choices(self.problem, self.question, grid.age_years[columns])
        half = columns % every == 0
        between = choices.allowed.any(axis=0) & (columns % max(every // 2, 1) == 0)
        kept = np.flatnonzero(half | (between & (columns < columns[half][-1])))
        return columns[kept], choices.at(kept[:-1])

    def build(
        self,
        level: Level = "centre",
        slope: float | None = None,
        most: int | None = None,
        *,
        arrest: bool = True,
        within: PrintedProgramme | None = None,
    ) -> ChildProgramme | None:
        """Return the programme within such limits, as `programme_of` does."""
        if not (self.choices.allowed.any() or any(item.stages for item in self.problem.bones)):
            return None
        problem, columns = self.problem, self.columns[:-1]
        turns = order_of(problem, most, within)
        amounts = amounts_of(problem, turns)
        reach = max(self.mean, *amounts) + _SDS * self.deviation if len(amounts) else 0.0
        gains = int(np.ceil(reach / self.grid_mm)) + 1
        stand = Stand(problem, self.question, self.cover, columns, gains, self.grid_mm, level, slope, within)
        tables, bone_of = tables_of(stand, turns, amounts, self._made)
        frames = self._frames({turn.bone for turn in turns})
        required = required_by_visit(problem, turns, self.ages[:-1])
        waits = waits_of(self.ages, max(float(required.max(initial=0.0)), frames.stays_years + frames.rest_years))
        usable = usable_of(problem, turns, columns, within) & (((columns - columns[0]) % self._every()) == 0)[:, None]
        classes, chance = self._classes
        choices = self.choices if arrest else self._no_arrest()
        made = pg.Programme(
            age_years=self.ages,
            grid_mm=self.grid_mm,
            tempo=self._tempo(classes, chance),
            forecast=self._forecast(arrest=bool(choices.allowed.any())),
            lengthenings=tuple(one.lengthening for one in tables),
            bone_of=np.array(bone_of, int),
            when=when_of(self.ages, usable, required, waits),
            arrest=arrest_of(
                problem, choices, classes, self.natural[:, -1], sitting_of(self.ages, self.steps, waits, frames)
            ),
            costs=self._costs(),
            start=pg.Start(
                arrested=arrested_before(problem),
                stopped=False,
                joint=self.joint,
                done=0,
                waited=waited_of(self.ages, waits, frames),
            ),
        )
        return ChildProgramme(made, tuple(turn.bone for turn in turns), self.cover, choices.plates, tuple(tables))

    def _no_arrest(self) -> ArrestChoices:
        return ArrestChoices(self.choices.plates, self.choices.takes_mm, np.zeros_like(self.choices.allowed))

    @cached_property
    def _classes(self) -> tuple[list[np.ndarray], Floats]:
        """Return the draws of early, middle and late maturing children, and the chance of each."""
        now, ages = float(self.ages[0]), np.arange(float(self.ages[0]), 21.0, 0.25)
        long = outlook(self.posterior, (), ages).lengths("long_leg")
        left = long[:, -1:] - long[:, :1]
        if self.posterior.draws < 2 * _CLASSES or float(left.mean()) < 1.0 or now >= self.posterior.mature_age_years:
            return [np.arange(self.posterior.draws)], np.ones(1)
        there = (long - long[:, :1]) / np.maximum(left, 1e-6) >= _LONG_LEG_GROWN
        order = np.argsort(ages[np.argmax(there, axis=1)] + 1e-6 * left[:, 0], kind="stable")
        parts = np.array_split(order, _CLASSES)
        return list(parts), np.array([len(part) for part in parts]) / len(order)

    @cached_property
    def _open_share(self) -> Floats:
        return learning(self.posterior, self.problem.protocol, self.ages).open_share

    def _forecast(self, *, arrest: bool) -> pg.Forecast:
        left = self.deviation**2 * np.minimum.accumulate(self._open_share)
        sideways = _SDS * self.deviation + _EDGE_MM
        down = sideways + arrest * self.number("arrest_most_mm") * _ARREST_BEYOND
        below, above = (int(np.ceil(mm / self.grid_mm)) for mm in (down, sideways + _LOSS_MM))
        return pg.Forecast(self.mean, below, above, -np.diff(left), float(left[-1]))

    def _tempo(self, parts: list[np.ndarray], chance: Floats) -> pg.Tempo:
        reached, legs = [], []
        for part in parts:
            mature = self.natural[part, -1].mean()
            share = self.natural[part][:, :-1].mean(axis=0) / mature if mature > 1 else np.ones(len(self.ages))
            reached.append(np.clip(share, 0.05, 1.2))
            legs.append(self.long[part][:, :-1].mean(axis=0))
        told = self.number("skeletal_offset_from_age_years")
        # Today nothing more is known than what the forecast rests on.
        known = min(max(int(np.searchsorted(self.ages, told)), 1), self.steps)
        flat = np.zeros((len(parts), len(self.ages)))
        return pg.Tempo(chance, known, np.array(reached), flat, np.array(legs))

    def _frames(self, bones: set[Bone]) -> Frames:
        """Return how long frames stay: the longest of all bones, for an average lengthening of published practice."""
        usual = self.number("practice_long_from_mm")
        stays = max((device_months(self.problem, bone, usual) for bone in bones), default=0.0) / 12
        rest = self.number("arrest_after_device_months") / 12
        born = self.question.record.child.date_of_birth
        begun = [item for item in self.problem.graph.of_role("lengthening") if item.begun and item.done_on is not None]
        if not begun:
            return Frames(stays, rest)
        last = max(begun, key=lambda item: item.done_on or born)
        at = age_years(born, last.done_on or born)
        if last.ended_on is not None and last.ended_on <= self.question.on:
            return Frames(stays, rest, at, age_years(born, last.ended_on))
        operation = last.operation
        mm = (operation.achieved_mm if operation else None) or usual
        bone = last.stage.bone or self.problem.first.bone
        device = device_of(operation, bone, self.problem.protocol)
        off = at + device_months(self.problem, bone, mm, device) / 12
        return Frames(stays, rest, at, max(off, age_years(born, self.question.on)), on=True)

    def _costs(self) -> pg.Costs:
        number, lift = self.number, self.problem.wishes.lift_at_most_mm
        return pg.Costs(
            burden=number("weigh_burden_a_year"),
            burden_from_percent=number("weigh_burden_from_percent"),
            burden_power=number("weigh_burden_power"),
            miss=number("weigh_final_miss"),
            miss_flat_mm=number("weigh_final_miss_free_mm"),
            miss_scale_mm=number("weigh_final_miss_scale_mm"),
            over_percent=number("told_over_percent"),
            within_mm=(number("goal_band_mm"), number("goal_accepted_mm")),
            near_years=number("same_choice_years"),
            near_mm=number("same_choice_mm"),
            wish_mm=np.inf if lift is None else lift + number("lift_less_than_difference_mm"),
            over_mm=(number("told_large_mm"), number("told_very_large_mm")),
            told_at_most=number("told_chance_at_most"),
            wish_a_year=0.0 if lift is None else number("weigh_over_wished_lift"),
        )
