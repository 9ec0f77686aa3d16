"""The least expected cost of a small programme, one state and one outcome at a time, written from its definition.

Nothing of the induction is used: no tables of states, no levels or slots, no matrices; only the moves of the
forecast on its grid (`moves`, tested by itself).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from functools import cache
from typing import NamedTuple

from scipy.special import ndtr

from pathway.courses.policy.kernels import moves
from pathway.courses.policy.programme import BARRED, REMOVAL, Programme


class State(NamedTuple):
    """One state; `tempo` is None while the class is hidden."""

    tempo: int | None
    arrested: bool
    stopped: bool
    joint: int
    done: int
    waited: int
    forecast: int
    gained: int


class Doing(NamedTuple):
    """An action: amount and plates, None where there is none."""

    amount: int | None = None
    plates: int | None = None


class ByHand:
    """A programme's rules: `states` at the start, what is `allowed`, what it `charges`, what `follows`, the `end`."""

    def __init__(self, given: Programme) -> None:
        self.given = given
        self.size = given.forecast.below + given.forecast.above + 1

    def starts(self) -> Iterator[tuple[float, State]]:
        """Yield today's states with their chances."""
        start = self.given.start
        today = State(
            None, start.arrested, start.stopped, start.joint, start.done, start.waited, self.given.forecast.below, 0
        )
        yield from self.told(today, 0)

    def told(self, state: State, visit: int) -> Iterator[tuple[float, State]]:
        """Yield the state with its class, where a visit tells it."""
        if state.tempo is None and visit >= self.given.tempo.known_from:
            for tempo, chance in enumerate(self.given.tempo.chance):
                yield float(chance), state._replace(tempo=tempo)
        else:
            yield 1.0, state

    def classes(self, state: State) -> list[tuple[float, int]]:
        """Return the classes that the child may be of."""
        if state.tempo is not None:
            return [(1.0, state.tempo)]
        return [(float(chance), tempo) for tempo, chance in enumerate(self.given.tempo.chance)]

    def difference(self, state: State, tempo: int, visit: int) -> float:
        given = self.given
        forecast = given.forecast.mean_mm + given.grid_mm * (state.forecast - given.forecast.below)
        left = forecast * given.tempo.reached[tempo, visit] + given.tempo.offset_mm[tempo, visit]
        return float(left - given.grid_mm * state.gained)

    def burden_of(self, difference: float, tempo: int, visit: int) -> float:
        given, costs = self.given, self.given.costs
        over = max(100 * abs(difference) / given.tempo.long_leg_mm[tempo, visit] - costs.burden_from_percent, 0.0)
        years = given.age_years[visit + 1] - given.age_years[visit]
        wished = costs.wish_a_year * max(abs(difference) - costs.wish_mm, 0.0) / 10 if costs.wish_a_year else 0.0
        return float((costs.burden * over**costs.burden_power + wished) * years)

    def burden(self, state: State, visit: int) -> float:
        """Return what the difference costs until the next visit."""
        return sum(p * self.burden_of(self.difference(state, k, visit), k, visit) for p, k in self.classes(state))

    def end(self, state: State) -> float:
        """Return what the end costs."""
        costs, total = self.given.costs, 0.0
        sd = self.given.forecast.open_variance_mm2**0.5
        for p, k in self.classes(state):
            left = float(self.difference(state, k, self.given.steps))
            total += p * costs.miss * _mean_square_beyond(left, sd, costs.miss_flat_mm) / costs.miss_scale_mm**2
        return float(total)

    def allowed(self, state: State, visit: int) -> list[Doing]:
        """Return what may be done."""
        given, arrest = self.given, self.given.arrest
        out = [Doing()]
        amounts = []
        if not state.stopped and state.done < given.most and given.when[visit, state.done, state.waited]:
            own = given.lengthenings[given.bone_of[state.done]]
            table = own.allowed[visit, :, state.gained, state.joint]
            amounts = [amount for amount, may in enumerate(table) if may]
        out += [Doing(amount) for amount in amounts]
        for plates in range(len(arrest.allowed)):
            if state.arrested:
                break
            alone = not state.stopped or arrest.after_stop
            if alone and arrest.allowed[plates, visit] and arrest.sitting[visit, state.waited] != BARRED:
                out.append(Doing(None, plates))
            if arrest.allowed_at_start[plates, visit]:
                out += [Doing(amount, plates) for amount in amounts]
        return out

    def outcomes(self, state: State, doing: Doing, visit: int) -> Iterator[tuple[float, float, State]]:
        """Yield chance, cost and state of all that may follow an action, as the next visit finds it."""
        for chance, cost, now in self.lengthened(state, doing.amount, visit):
            for also, more, then in self.arrested(now, state, doing, visit):
                for p, walked in self.moved(then, 0.0, float(self.given.forecast.step_variance_mm2[visit])):
                    for q, told in self.told(walked, visit + 1):
                        yield chance * also * p * q, cost + more, told

    def moved(self, state: State, mean_mm: float, variance_mm2: float) -> Iterator[tuple[float, State]]:
        """Yield what a move of the forecast leads to."""
        grid = self.given.grid_mm
        for step, chance in zip(*moves(mean_mm / grid, variance_mm2 / grid**2), strict=True):
            to = min(max(state.forecast + int(step), 0), self.size - 1)
            yield float(chance), state._replace(forecast=to)

    def lengthened(self, state: State, amount: int | None, visit: int) -> Iterator[tuple[float, float, State]]:
        last = self.given.waits - 1
        if amount is None:
            yield 1.0, 0.0, state._replace(waited=min(state.waited + 1, last))
            return
        table = self.given.lengthenings[self.given.bone_of[state.done]]
        gained, joint = state.gained, state.joint
        cost, stop = float(table.cost[visit, amount, gained, joint]), float(table.stop_chance[visit, amount, gained])
        loss = float(table.loss_chance[visit, amount])
        for o, s, stopped, lost in itertools.product(
            range(table.gain_steps.shape[2]), range(self.given.joints), (False, True), (False, True)
        ):
            chance = float(table.gain_chance[visit, amount, o, gained] * table.joints[visit, amount, gained, joint, s])
            chance *= (stop if stopped else 1 - stop) * (loss if lost else 1 - loss)
            if chance == 0:
                continue
            after = state._replace(
                gained=min(gained + int(table.gain_steps[visit, amount, o]), self.given.gains - 1),
                joint=s,
                stopped=stopped,
                done=state.done + 1,
                waited=min(1, last),
            )
            for p, then in self.moved(after, float(table.loss_mm[visit, amount]) if lost else 0.0, 0.0):
                yield chance * p, cost, then

    def arrested(self, now: State, before: State, doing: Doing, visit: int) -> Iterator[tuple[float, float, State]]:
        arrest, plates = self.given.arrest, doing.plates
        if plates is None:
            yield 1.0, 0.0, now
            return
        if doing.amount is not None:
            table = arrest.cost_at_start
        else:
            table = arrest.cost_at_removal if arrest.sitting[visit, before.waited] == REMOVAL else arrest.cost
        for chance, tempo in self.classes(now):
            effect = float(arrest.effect_mm[tempo, plates, visit])
            charge = float(table[tempo, plates, visit]) + arrest.repeat_chance * arrest.repeat_cost
            told = now._replace(tempo=tempo, arrested=True)
            for p, then in self.moved(told, -effect, (arrest.sd_share * effect) ** 2):
                late = 0.0
                for later in range(visit, self.given.steps):
                    still = float(arrest.effect_mm[tempo, plates, later])
                    wait = max(effect * float(self.given.tempo.reached[tempo, later]) - (effect - still), 0.0)
                    at = self.difference(then, tempo, later)
                    late += self.burden_of(at + wait, tempo, later) - self.burden_of(at, tempo, later)
                yield chance * p, charge + late, then

    def value(self, *, remember: bool = True) -> float:
        """Return the least expected cost; without remembering, every history is walked through by itself."""

        def cost(state: State, visit: int) -> float:
            if visit == self.given.steps:
                return self.end(state)
            return self.burden(state, visit) + min(
                sum(p * (charge + later(then, visit + 1)) for p, charge, then in self.outcomes(state, doing, visit))
                for doing in self.allowed(state, visit)
            )

        later = cache(cost) if remember else cost
        return sum(chance * later(state, 0) for chance, state in self.starts())


def _mean_square_beyond(left: float, sd: float, flat: float) -> float:
    """Return the mean of max(|x| - flat, 0) squared for x normal about `left`: partial moments of both tails."""
    if sd == 0:
        return max(abs(left) - flat, 0.0) ** 2
    total = 0.0
    for side in (1, -1):
        border = (flat - side * left) / sd
        total += (1 + border**2) * float(ndtr(-border)) - border * math.exp(-(border**2) / 2) / math.sqrt(2 * math.pi)
    return total * sd**2
