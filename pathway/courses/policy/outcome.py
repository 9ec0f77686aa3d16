"""What comes of a policy: the exact distribution of all states pushed forward from today, no lives drawn."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from pathway.courses.policy.actions import WAIT, Codes
from pathway.courses.policy.counts import Counts, Sums, counts_of, moved_on, shared, with_more
from pathway.courses.policy.induction import Solved
from pathway.courses.policy.late import lateness, still_to_come
from pathway.courses.policy.layout import STOPPED, Key
from pathway.courses.policy.programme import REMOVAL, Floats, Programme

Measure = Callable[[Floats, int], Floats]
"""Something of differences at a visit, until the next one."""
Mass = dict[tuple[bool, int, int, int], tuple[Floats, Sums]]
"""By arrested, level, slot and planned operations: chances (gains, joints, classes, forecasts), what was counted."""

ALONE, AT_START, AT_REMOVAL = 0, 1, 2
"""The sitting of an arrest: its own, with the start of a lengthening, with the removal of the device."""
_LEAST = 1e-12
"""What a policy would do with a smaller chance than this is not followed: waited is instead."""


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """Expectations and chances of a policy from today on.

    `cost` equals the policy's value; it is counted only in the world in which the policy was chosen. Operations, `harm`
    and months are expected numbers; `months_over` those with a difference over `over_percent` of the long leg.
    `number` (N + 1,) are the chances of so many lengthenings in the end, those before today counted; `within` those to
    end so near, as `within_mm` asks. `stopped`, `arrested` and `joints` (S,) say how it ends. `lengthened` (N, T, X) is
    the chance that this lengthening (from the first) is done at this visit by this amount; `arrest` (3, J, T) that of
    each arrest ALONE, AT_START or AT_REMOVAL.
    `left_mm` (G, K, M) are the differences at the end as the last visit finds them, `left_chance` how likely each is.
    `months_over_mm` are the months with a difference over each of `over_mm`, `difference_mm` (T + 1,) the mean one at
    each visit. `lengthened_at` holds for each set of tables the chances (T, X, G, S) of a lengthening, by gain before
    and state of the joints; `counts` how operations and months with a device spread.
    """

    cost: float | None
    planned: float
    unplanned: float
    harm: float
    device_months: float
    months_over: float
    number: Floats
    within: tuple[float, ...]
    stopped: float
    arrested: float
    joints: Floats
    lengthened: Floats
    arrest: Floats
    left_mm: Floats
    left_chance: Floats
    months_over_mm: tuple[float, ...]
    difference_mm: Floats
    lengthened_at: tuple[Floats, ...]
    counts: Counts


def outcome(solved: Solved, *, told: bool = False) -> Outcome:
    """Return what comes of a policy: in the world in which it was chosen, or if `told` in the one told of it."""
    return _Forward(solved, told=told).run()


class _Forward:
    """What is summed on the way; each slot that is found holds chances (gains, joints, classes, forecasts)."""

    def __init__(self, solved: Solved, *, told: bool) -> None:
        self.told = told
        self.solved, self.given, self.layout = solved, solved.programme, solved.layout
        given = self.given
        self.kernels = solved.kernels
        self.now = [given.difference_mm(visit) for visit in range(given.steps + 1)]
        self.cost = self.planned = self.unplanned = self.harm = self.months = 0.0
        self.number = np.zeros(given.most + 1)
        self.joints = np.zeros(given.joints)
        self.stopped = 0.0
        visits = range(given.steps)
        self.measures: list[Measure] = [
            partial(_over_percent, given),
            *(partial(_over_mm, given, mm) for mm in given.costs.over_mm),
            *(() if told else (given.burden,)),  # the costliest by far, and what is told has no cost
        ]
        self.measured = [[measure(self.now[visit], visit) for visit in visits] for measure in self.measures]
        self.totals = [0.0 for _ in self.measures]
        self._late: dict[tuple[int, int], list[Floats]] = {}
        self.difference = np.zeros(given.steps + 1)
        self.lengthened_at = [np.zeros(table.allowed.shape) for table in given.lengthenings]
        self.lengthened = np.zeros((given.most, given.steps, len(given.amounts_mm)))
        self.arrest = np.zeros((3, *given.arrest.allowed.shape))

    def run(self) -> Outcome:
        given, start = self.given, self.given.start
        slot = int(self.layout.of[0][start.arrested, 0][start.waited])
        classes = self.layout.classes(given, 0, start.arrested)
        today = np.zeros((1, 1, classes, len(given.forecasts_mm)))
        today[0, 0, :, given.forecast.below] = self._shares(classes)
        mass: Mass = {(start.arrested, 0, slot, 0): (today, np.zeros((4, 1)))}
        if start.stopped:
            self.number[start.done], self.joints[start.joint], self.stopped = 1.0, 1.0, 1.0
        for visit in range(given.steps):
            mass = self._visit(visit, mass)
        return self._ended(mass)

    def _shares(self, classes: int) -> Floats:
        return np.asarray(self.given.tempo.chance, float) if classes > 1 else np.ones(1)

    def _by_class(self, chances: Floats) -> Floats:
        """Return chances (..., M) of classes not told apart yet as those of each class."""
        return (
            chances if chances.shape[-2] == self.given.classes else chances * self._shares(self.given.classes)[:, None]
        )

    def _visit(self, visit: int, mass: Mass) -> Mass:
        given = self.given
        after: Mass = {}
        lengthening: dict[tuple[Key, int, int], tuple[Floats, Sums]] = {}
        likely = np.zeros(self.now[visit].shape)
        for (arrested, level, at, planned), (chances, sums) in mass.items():
            likely[self.layout.levels[level].gains] += self._by_class(chances.sum(axis=1))
            before = chances.sum(axis=(1, 2, 3))
            slot = self.layout.slots[visit][arrested, level][at]
            codes = self.solved.choices[visit].get((arrested, level))
            for code, part in [(0, chances)] if codes is None else _by_code(codes[at], chances):
                action = self.solved.actions[code]
                mine = sums if part is chances else shared(sums, before, part)
                if action.kind == WAIT:
                    _add_to(after, (arrested, level, slot.following, planned), (part, mine))
                elif action.amount >= 0:  # what follows does not depend on the slot
                    _add_to(lengthening, ((arrested, level), code, planned), (part, mine))
                else:
                    kind = AT_REMOVAL if slot.sitting == REMOVAL else ALONE
                    moved, mine, more = self._arrest(visit, level, action.plates, (part, mine), kind)
                    _add_to(after, (True, level, slot.arrested, planned + more), (moved, mine))
        self.difference[visit] += float((likely * self.now[visit]).sum())
        for number, table in enumerate(self.measured):
            self.totals[number] += float((likely * table[visit]).sum())
        for (key, code, planned), (part, mine) in lengthening.items():
            action = self.solved.actions[code]
            self._lengthen(visit, key, action.amount, action.plates, (part, mine), planned, after)
        walk = self.kernels.walk(visit)
        told = {flag: self.layout.classes(given, visit + 1, flag) for flag in (False, True)}
        moves = given.forecast.step_variance_mm2[visit] > 0
        split = {
            key: (self._by_class(chances) if told[key[0]] > chances.shape[2] else chances, sums)
            for key, (chances, sums) in after.items()
        }
        return {key: (chances @ walk, sums) for key, (chances, sums) in split.items()} if moves else split

    def _arrest(
        self, visit: int, level: int, plates: int, part: tuple[Floats, Sums], kind: int
    ) -> tuple[Floats, Sums, int]:
        """Return chances (gains, joints, classes, M) and what was counted after an arrest, and its operations."""
        arrest, gains = self.given.arrest, self.layout.levels[level].gains
        chances, sums = part
        by_class = self._by_class(chances)
        moved = np.stack(
            [
                by_class[..., k, :] @ self.kernels.arrest(k, plates, visit, told=self.told)
                for k in range(self.given.classes)
            ],
            axis=-2,
        )
        share = by_class.sum(axis=(0, 1, 3))
        total = float(share.sum())
        table = (arrest.cost, arrest.cost_at_start, arrest.cost_at_removal)[kind]
        self.cost += float(share @ table[:, plates, visit]) + total * arrest.repeat_chance * arrest.repeat_cost
        planned = (arrest.planned, arrest.planned_at_start, arrest.planned_at_removal)[kind]
        self.planned += total * planned
        self.unplanned += total * arrest.repeat_chance
        self.arrest[kind, plates, visit] += total
        here = moved.sum(axis=1)
        for number, more in enumerate(self._lateness(visit, plates)):
            self.totals[number] += float((here * more[gains]).sum())
        self.difference[visit + 1 : -1] += share @ still_to_come(self.given, visit, plates)[:, 1:]
        again = np.full(len(chances), arrest.repeat_chance)
        return moved, with_more(sums, chances.sum(axis=(1, 2, 3)), operations=(again, again**2)), round(planned)

    def _lateness(self, visit: int, plates: int) -> list[Floats]:
        """Return what an arrest's slowness adds (G, K, M) to each measure."""
        if (visit, plates) not in self._late:
            self._late[visit, plates] = [
                lateness(self.given, visit, plates, self.now, *measure)
                for measure in zip(self.measured, self.measures, strict=True)
            ]
        return self._late[visit, plates]

    def _lengthen(
        self, visit: int, key: Key, amount: int, plates: int, came: tuple[Floats, Sums], planned: int, after: Mass
    ) -> None:
        """Add to `after` what a lengthening leads to, and count it."""
        arrested, level = key
        chances, sums = came
        given, here = self.given, self.layout.levels[level]
        table = given.tables(here.done)
        joints = np.array(here.joints)
        rows = np.flatnonzero(chances.any(axis=(1, 2, 3)))  # most gains are empty
        low, gains = here.low + int(rows[0]), slice(here.low + int(rows[0]), here.low + int(rows[-1]) + 1)
        chances, sums = chances[rows[0] : rows[-1] + 1], sums[:, rows[0] : rows[-1] + 1]
        share = chances.sum(axis=(2, 3))
        of_gain = share.sum(axis=1)

        def expected(each: Floats) -> float:
            return float((share * each[visit, amount][gains][:, joints]).sum())

        self.cost += expected(table.cost)
        self.unplanned += expected(table.unplanned)
        self.harm += expected(table.harm)
        self.planned += float(share.sum() * table.planned[visit, amount])
        lasts = table.device_months[visit, amount][gains]
        self.months += float((of_gain * lasts).sum())
        again = table.unplanned[visit, amount][gains][:, joints]
        whole = np.maximum(of_gain, np.finfo(float).tiny)
        unplanned = tuple((share * again**power).sum(axis=1) / whole for power in (1, 2))
        sums = with_more(sums, of_gain, operations=(unplanned[0], unplanned[1]), months=lasts)
        planned += round(float(table.planned[visit, amount]))
        done_by = self.lengthened_at[int(given.bone_of[here.done])][visit, amount]
        done_by[gains.start : gains.stop, joints] += share
        self.lengthened[here.done, visit, amount] += float(share.sum())
        stop = table.stop_chance[visit, amount][gains]
        change = table.joints[visit, amount][gains][:, joints]
        paths = [(level + 1, 1 - stop)] + ([] if self.layout.stopped is None else [(self.layout.stopped, stop)])
        for to, path in paths:
            then = self.layout.levels[to]
            if then.done == STOPPED:
                part = (chances * path[:, None, None, None]).sum(axis=1, keepdims=True)
                ended = (share[..., None] * path[:, None, None] * change).sum(axis=(0, 1))
                self.joints += ended
                self.stopped += float(ended.sum())
                self.number[here.done + 1] += float(ended.sum())
            else:
                weighed = (chances * path[:, None, None, None]).reshape(*share.shape, -1)
                part = np.matmul(change[:, :, np.array(then.joints)].transpose(0, 2, 1), weighed)
                part = part.reshape(*part.shape[:2], *chances.shape[2:])
            gone = np.zeros((*then.size, *chances.shape[2:]))
            for steps, chance in zip(table.gain_steps[visit, amount], table.gain_chance[visit, amount], strict=True):
                weight = chance[gains, None, None, None]
                if weight.any():
                    _add(gone, low + int(steps) - then.low, weight * part)
            lost = float(table.loss_chance[visit, amount])
            if lost > 0:
                gone = (1 - lost) * gone + lost * (gone @ self.kernels.loss(float(table.loss_mm[visit, amount])))
            steps_of = zip(table.gain_steps[visit, amount], table.gain_chance[visit, amount][:, gains], strict=True)
            counted = moved_on(sums * path, [(low + int(steps) - then.low, p) for steps, p in steps_of], then.size[0])
            with_it = 0
            if plates >= 0:
                gone, counted, with_it = self._arrest(visit, to, plates, (gone, counted), AT_START)
            goal = (arrested or plates >= 0, to)
            slot = int(self.layout.of[visit + 1][goal][self.layout.just])
            _add_to(after, (*goal, slot, planned + with_it), (gone, counted))

    def _ended(self, mass: Mass) -> Outcome:
        given = self.given
        left = self.now[-1]
        near = [_within(left, mm, float(np.sqrt(given.forecast.open_variance_mm2))) for mm in given.costs.within_mm]
        arrested = 0.0
        likely = np.zeros(left.shape)
        for (flag, at, _, _), (chances, _) in mass.items():
            level = self.layout.levels[at]
            here = self._by_class(chances.sum(axis=1))
            likely[level.gains] += here
            arrested += float(here.sum()) * flag
            if level.done != STOPPED:
                self.number[level.done] += float(here.sum())
                self.joints[list(level.joints)] += chances.sum(axis=(0, 2, 3))
        if not self.told:
            self.cost += float((likely * given.missed(left)).sum())
        self.difference[-1] += float((likely * left).sum())
        return Outcome(
            cost=None if self.told else self.cost + self.totals[-1],
            planned=self.planned,
            unplanned=self.unplanned,
            harm=self.harm,
            device_months=self.months,
            months_over=self.totals[0],
            number=self.number,
            within=tuple(float((likely * chance).sum()) for chance in near),
            stopped=self.stopped,
            arrested=arrested,
            joints=self.joints,
            lengthened=self.lengthened,
            arrest=self.arrest,
            left_mm=left,
            left_chance=likely,
            months_over_mm=tuple(self.totals[1 : 1 + len(given.costs.over_mm)]),
            difference_mm=self.difference,
            lengthened_at=tuple(self.lengthened_at),
            counts=counts_of([(key[3], chances, sums) for key, (chances, sums) in mass.items()]),
        )


def _over_mm(given: Programme, mm: float, difference_mm: Floats, visit: int) -> Floats:
    """Return the months until the next visit where the difference is over so many mm."""
    months: Floats = 12 * float(given.years[visit]) * (np.abs(difference_mm) > mm)
    return months


def _over_percent(given: Programme, difference_mm: Floats, visit: int) -> Floats:
    """Return the months until the next visit where the difference is over the share that is counted."""
    percent = 100 * np.abs(difference_mm) / given.tempo.long_leg_mm[:, visit, None]
    months: Floats = 12 * float(given.years[visit]) * (percent > given.costs.over_percent)
    return months


def _by_code(codes: Codes, chances: Floats) -> Iterator[tuple[int, Floats]]:
    """Yield each action that is done in some state, with the chances of the states in which it is."""
    acting = np.flatnonzero((codes != 0) & (chances > 0))
    waiting = chances.copy()
    chosen, likely = codes.ravel()[acting], chances.ravel()[acting]
    for code in np.flatnonzero(np.bincount(chosen, likely) > _LEAST):
        part = np.zeros(chances.shape)
        mine = acting[chosen == code]
        part.ravel()[mine] = chances.ravel()[mine]
        waiting.ravel()[mine] = 0.0
        yield int(code), part
    yield 0, waiting


def _add_to(to: dict[Any, tuple[Floats, Sums]], key: object, part: tuple[Floats, Sums]) -> None:
    to[key] = (to[key][0] + part[0], to[key][1] + part[1]) if key in to else part


def _add(to: Floats, shift: int, part: Floats) -> None:
    """Add rows, so many places further; what would leave the table is gathered in its last row."""
    inside = min(len(part), len(to) - shift)
    if inside > 0:
        to[shift : shift + inside] += part[:inside]
    if inside < len(part):
        to[-1] += part[max(inside, 0) :].sum(axis=0)


def _within(left_mm: Floats, mm: float, sd_mm: float) -> Floats:
    """Return the chances to end within so many mm, over what no visit has told."""
    if sd_mm == 0:
        return (np.abs(left_mm) <= mm).astype(float)
    # numpy has no error function; the differences are few.
    flat = [
        (math.erf((mm - x) / (sd_mm * 2**0.5)) + math.erf((mm + x) / (sd_mm * 2**0.5))) / 2
        for x in left_mm.ravel().tolist()
    ]
    return np.array(flat).reshape(left_mm.shape)
