"""Lives lived by a policy, drawn one visit after the other: written from the rules, apart from the induction."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from pathway.courses.policy.actions import WAIT, Action
from pathway.courses.policy.induction import Solved
from pathway.courses.policy.kernels import moves
from pathway.courses.policy.programme import REMOVAL, Floats

Whole = npt.NDArray[np.int_]


@dataclass(eq=False)
class Done:
    """An operation done at a visit by some lives: who, what was gained before, visits since the last lengthening."""

    visit: int
    action: Action
    who: Whole
    gained: Whole
    number: Whole
    waited: Whole


@dataclass(eq=False)
class Lives:
    """What became of each life: sums (lives,), and every operation.

    `unplanned` are expected numbers, `events` drawn about them (Poisson) and an arrest's repeats, by a stream of its
    own; `months_over_mm` (limits, lives), `difference_mm` (T + 1, lives).
    """

    cost: Floats
    planned: Floats
    unplanned: Floats
    harm: Floats
    device_months: Floats
    months_over: Floats
    number: Whole
    joint: Whole
    arrested: npt.NDArray[np.bool_]
    stopped: npt.NDArray[np.bool_]
    left_mm: Floats
    events: Floats
    months_over_mm: Floats
    difference_mm: Floats
    done: list[Done] = field(default_factory=list)


def live(solved: Solved, lives: int, seed: int, *, told: bool = False) -> Lives:
    """Live so many lives by the policy, the forecast on its grid; `told` in the world that is told of it."""
    return _Living(solved, lives, np.random.default_rng(seed), told=told).live()


def live_off_the_grid(solved: Solved, lives: int, seed: int) -> Lives:
    """Live lives whose forecast moves freely and normally; the policy is asked at the nearest step of the grid."""
    return _OffTheGrid(solved, lives, np.random.default_rng(seed)).live()


class _Living:
    def __init__(self, solved: Solved, lives: int, rng: np.random.Generator, *, told: bool = False) -> None:
        self.told = told
        self.solved, self.given, self.rng = solved, solved.programme, rng
        start = self.given.start
        self.apart = rng.spawn(1)[0]
        self.who = np.arange(lives)
        self.tempo = rng.choice(self.given.classes, lives, p=self.given.tempo.chance)
        self.arrested, self.stopped = np.full(lives, start.arrested), np.full(lives, start.stopped)
        self.joint, self.done = np.full(lives, start.joint), np.full(lives, start.done)
        self.waited, self.gained = np.full(lives, start.waited), np.zeros(lives, int)
        self.forecast = np.full(lives, self.given.forecast.below)
        zero = np.zeros(lives)
        limits, visits = len(self.given.costs.over_mm), self.given.steps + 1
        ends = (self.done, self.joint, self.arrested, self.stopped, zero, zero.copy())
        several = (np.zeros((limits, lives)), np.zeros((visits, lives)))
        self.out = Lives(*(zero.copy() for _ in range(6)), *ends, *several)

    def live(self) -> Lives:
        given, out = self.given, self.out
        for visit in range(given.steps):
            difference = self.difference(visit)
            out.cost += self.burden(difference, visit, self.who)
            share = 100 * np.abs(difference) / given.tempo.long_leg_mm[self.tempo, visit]
            out.months_over += 12 * given.years[visit] * (share > given.costs.over_percent)
            out.difference_mm[visit] += difference
            for number, mm in enumerate(given.costs.over_mm):
                out.months_over_mm[number] += 12 * given.years[visit] * (np.abs(difference) > mm)
            chosen = self.chosen(visit)
            before = self.waited.copy()
            self.waited = np.minimum(self.waited + 1, given.waits - 1)
            for code in np.unique(chosen):
                action, who = self.solved.actions[code], np.flatnonzero(chosen == code)
                if action.kind == WAIT:
                    continue
                out.done.append(Done(visit, action, who, self.gained[who], self.done[who], before[who]))
                if action.amount >= 0:
                    self.lengthen(visit, who, action.amount)
                if action.plates >= 0:
                    self.arrest(visit, who, action, before[who])
            self.move(self.who, 0.0, float(given.forecast.step_variance_mm2[visit]))
        left = self.difference(given.steps)
        out.difference_mm[given.steps] += left
        left = left + self.rng.standard_normal(len(left)) * given.forecast.open_variance_mm2**0.5
        over = np.maximum(np.abs(left) - given.costs.miss_flat_mm, 0) / given.costs.miss_scale_mm
        out.cost += given.costs.miss * over**2
        out.number, out.joint, out.arrested, out.stopped = self.done, self.joint, self.arrested, self.stopped
        out.left_mm = left
        return out

    def chosen(self, visit: int) -> Whole:
        """Look up what the policy does in each life."""
        places, codes = self.solved.layout, np.zeros(len(self.who), int)
        last = len(places.levels) - 1
        hidden = visit < self.given.tempo.known_from
        for at in self.who:
            level = last if self.stopped[at] else int(self.done[at] - self.given.start.done)
            here, key = places.levels[level], (bool(self.arrested[at]), level)
            table = self.solved.choices[visit].get(key)
            if table is not None:
                slot = places.of[visit][key][self.waited[at]]
                joint = 0 if self.stopped[at] else here.joints.index(self.joint[at])
                known = not hidden or (self.arrested[at] and not self.given.start.arrested)
                tempo = self.tempo[at] if known else 0
                codes[at] = table[slot, self.gained[at] - here.low, joint, tempo, self.forecast[at]]
        return codes

    def difference(self, visit: int) -> Floats:
        given = self.given
        forecast = given.forecast.mean_mm + given.grid_mm * (self.forecast - given.forecast.below)
        now: Floats = forecast * given.tempo.reached[self.tempo, visit] + given.tempo.offset_mm[self.tempo, visit]
        return now - given.grid_mm * self.gained

    def burden(self, difference: Floats, visit: int, who: Whole) -> Floats:
        given, costs = self.given, self.given.costs
        percent = 100 * np.abs(difference) / given.tempo.long_leg_mm[self.tempo[who], visit]
        cost: Floats = costs.burden * np.maximum(percent - costs.burden_from_percent, 0) ** costs.burden_power
        if costs.wish_a_year:
            cost = cost + costs.wish_a_year * np.maximum(np.abs(difference) - costs.wish_mm, 0) / 10
        return cost * given.years[visit]

    def move(self, who: Whole, mean_mm: float, variance_mm2: float) -> None:
        steps, chances = moves(mean_mm / self.given.grid_mm, variance_mm2 / self.given.grid_mm**2)
        to = self.forecast[who] + self.rng.choice(steps, len(who), p=chances / chances.sum())
        self.forecast[who] = np.clip(to, 0, self.given.forecast.below + self.given.forecast.above)

    def drawn(self, chances: Floats) -> Whole:
        """Draw one of the last axis in every row."""
        return np.minimum(
            (np.cumsum(chances, axis=1) < self.rng.random((len(chances), 1))).sum(axis=1), chances.shape[1] - 1
        )

    def lengthen(self, visit: int, who: Whole, amount: int) -> None:
        before = self.done[who].copy()
        for number in np.unique(before):
            self.lengthen_next(visit, who[before == number], amount, int(number))

    def lengthen_next(self, visit: int, who: Whole, amount: int, number: int) -> None:
        table, out = self.given.lengthenings[self.given.bone_of[number]], self.out
        gained, joint = self.gained[who], self.joint[who]
        assert table.allowed[visit, amount, gained, joint].all() and not self.stopped[who].any()
        out.cost[who] += table.cost[visit, amount, gained, joint]
        out.planned[who] += table.planned[visit, amount]
        out.unplanned[who] += table.unplanned[visit, amount, gained, joint]
        out.events[who] += self.apart.poisson(table.unplanned[visit, amount, gained, joint])
        out.harm[who] += table.harm[visit, amount, gained, joint]
        out.device_months[who] += table.device_months[visit, amount, gained]
        outcome = self.drawn(table.gain_chance[visit, amount][:, gained].T)
        self.gained[who] = np.minimum(gained + table.gain_steps[visit, amount][outcome], self.given.gains - 1)
        self.joint[who] = self.drawn(table.joints[visit, amount, gained, joint])
        self.stopped[who] = self.rng.random(len(who)) < table.stop_chance[visit, amount, gained]
        lost = who[self.rng.random(len(who)) < table.loss_chance[visit, amount]]
        self.move(lost, float(table.loss_mm[visit, amount]), 0.0)
        self.done[who] += 1
        self.waited[who] = min(1, self.given.waits - 1)

    def arrest(self, visit: int, who: Whole, action: Action, waited: Whole) -> None:
        arrest, plates, out = self.given.arrest, action.plates, self.out
        assert not self.arrested[who].any()
        at_start = np.full(len(who), action.amount >= 0)
        removal = ~at_start & (arrest.sitting[visit, waited] == REMOVAL)
        for costs, planned, where in (
            (arrest.cost_at_start, arrest.planned_at_start, at_start),
            (arrest.cost_at_removal, arrest.planned_at_removal, removal),
            (arrest.cost, arrest.planned, ~at_start & ~removal),
        ):
            out.cost[who[where]] += costs[self.tempo[who[where]], plates, visit]
            out.planned[who[where]] += planned
        again = self.rng.random(len(who)) < arrest.repeat_chance
        out.cost[who[again]] += arrest.repeat_cost
        out.unplanned[who[again]] += 1
        out.events[who[again]] += 1
        self.arrested[who] = True
        for tempo in range(self.given.classes):
            mine = who[self.tempo[who] == tempo]
            effect = arrest.effect_mm[tempo, plates]
            sd = arrest.sd_share * effect[visit]
            if self.told and arrest.told_sd_mm is not None:
                sd = arrest.told_sd_mm[tempo, plates, visit]
            self.move(mine, -float(effect[visit]), float(sd) ** 2)
            for later in range(visit, self.given.steps):
                wait = max(effect[visit] * self.given.tempo.reached[tempo, later] - effect[visit] + effect[later], 0)
                at = self.difference(later)[mine]
                out.cost[mine] += self.burden(at + wait, later, mine) - self.burden(at, later, mine)
                leg = self.given.tempo.long_leg_mm[tempo, later]
                limit = self.given.costs.over_percent * leg / 100
                more = (np.abs(at + wait) > limit).astype(float) - (np.abs(at) > limit)
                out.months_over[mine] += 12 * self.given.years[later] * more
                for number, mm in enumerate(self.given.costs.over_mm):
                    over = (np.abs(at + wait) > mm).astype(float) - (np.abs(at) > mm)
                    out.months_over_mm[number, mine] += 12 * self.given.years[later] * over
                if later > visit:
                    out.difference_mm[later, mine] += wait


class _OffTheGrid(_Living):
    def __init__(self, solved: Solved, lives: int, rng: np.random.Generator) -> None:
        super().__init__(solved, lives, rng)
        self.forecast_mm = np.full(lives, float(self.given.forecast.mean_mm))

    def move(self, who: Whole, mean_mm: float, variance_mm2: float) -> None:
        self.forecast_mm[who] += mean_mm + variance_mm2**0.5 * self.rng.standard_normal(len(who))
        given = self.given.forecast
        steps = np.round((self.forecast_mm - given.mean_mm) / self.given.grid_mm).astype(int)
        self.forecast = np.clip(steps + given.below, 0, given.below + given.above)

    def difference(self, visit: int) -> Floats:
        given = self.given
        now: Floats = self.forecast_mm * given.tempo.reached[self.tempo, visit]
        return now + given.tempo.offset_mm[self.tempo, visit] - given.grid_mm * self.gained
