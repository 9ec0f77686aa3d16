"""The path of a policy when every step works, and how far each operation may move: ages and amounts with chances."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pathway.courses.policy.actions import ARREST, WAIT, Action
from pathway.courses.policy.first import mm_of
from pathway.courses.policy.induction import Solved
from pathway.courses.policy.outcome import Outcome
from pathway.courses.policy.programme import Bools, Floats


@dataclass(frozen=True, slots=True)
class Step:
    """An operation of the path. `number` counts lengthenings, those before today too (0: an arrest alone).

    `gained` steps of the grid were gained before it. `mm` is the amount, or the effect of an arrest in the class
    followed. `chance` is that of this operation, by kind and number, near this age and amount; `chance_ever` at any.
    """

    visit: int
    age_years: float
    action: Action
    number: int
    gained: int
    mm: float
    chance: float
    chance_ever: float


@dataclass(frozen=True, slots=True)
class Spread:
    """When and how much: chances of a lengthening by its `number`, or of an arrest (0), and quantiles if it is done.

    The quantiles are those asked for, least age or amount first; empty where it is never done.
    """

    number: int
    chance: float
    age_years: tuple[float, ...]
    mm: tuple[float, ...]


def path(solved: Solved, ends: Outcome) -> tuple[Step, ...]:
    """Return what is done if the forecast stays and every step works.

    The class of tempo is the middle one, a lengthening has the first of its outcomes and costs no growth, joints stay
    as is likeliest, nobody stops, an arrest has its mean effect to the nearest step of the grid.
    """
    given, places, start = solved.programme, solved.layout, solved.programme.start
    likely = given.classes // 2
    arrested, level, gained, joint, wait = start.arrested, 0, 0, start.joint, start.waited
    forecast, last = given.forecast.below, given.waits - 1
    steps = []
    for visit in range(given.steps):
        here = places.levels[level]
        codes = solved.choices[visit].get((arrested, level))
        slot = int(places.of[visit][arrested, level][wait])
        wait = min(wait + 1, last)
        if codes is None:
            continue
        classes = codes.shape[3]
        tempo = likely if classes > 1 else 0
        at = (slot, gained - here.low, here.joints.index(joint), tempo, forecast)
        action = solved.actions[int(codes[at])]
        if action.kind == WAIT:
            continue
        number, before = here.done + 1 if action.amount >= 0 else 0, gained
        mm = mm_of(given, visit, action)
        if action.plates >= 0:
            effect = float(given.arrest.effect_mm[likely, action.plates, visit])
            mm = effect if action.kind == ARREST else mm
            arrested, forecast = True, max(forecast - round(effect / given.grid_mm), 0)
        if action.amount >= 0:
            table = given.tables(here.done)
            step = int(table.gain_steps[visit, action.amount, 0])
            joint = int(np.argmax(table.joints[visit, action.amount, gained, joint]))
            gained, level, wait = min(gained + step, given.gains - 1), level + 1, places.just
        table_of = _table(solved, ends, number)
        near = _near(solved, visit, mm, number)
        steps.append(
            Step(
                visit,
                float(given.age_years[visit]),
                action,
                number,
                before,
                mm,
                float(table_of[near].sum()),
                float(table_of.sum()),
            )
        )
    return tuple(steps)


def spreads(solved: Solved, ends: Outcome, levels: tuple[float, ...] = (0.1, 0.5, 0.9)) -> tuple[Spread, ...]:
    """Return how each lengthening that may come, and the arrest (last), spread over ages and amounts."""
    out = []
    for number in (*range(solved.programme.start.done + 1, solved.programme.most + 1), 0):
        table, mm = _table(solved, ends, number), _mm(solved, number)
        ages = np.broadcast_to(solved.programme.age_years[:-1, None], table.shape)
        chance = float(table.sum())
        if chance > 0:
            found = (number, chance, _quantiles(ages, table, levels), _quantiles(mm, table, levels))
            out.append(Spread(*found))
    return tuple(out)


def _table(solved: Solved, ends: Outcome, number: int) -> Floats:
    """Return the chances (T, amounts or sets of plates) of a lengthening by number, or of the arrest (0)."""
    table: Floats = ends.lengthened[number - 1] if number else ends.arrest.sum(axis=0).T
    return table


def _mm(solved: Solved, number: int) -> Floats:
    """Return the amounts (T, amounts or sets of plates), of an arrest the mean over the classes."""
    given = solved.programme
    mm: Floats
    if number:
        mm = np.broadcast_to(given.amounts_mm, (given.steps, len(given.amounts_mm)))
    else:
        mm = np.einsum("k,kjt->tj", given.tempo.chance, given.arrest.effect_mm)
    return mm


def _near(solved: Solved, visit: int, mm: float, number: int) -> Bools:
    """Return which visits and amounts (T, ...) are near this one, as the costs say."""
    costs, ages = solved.programme.costs, solved.programme.age_years
    small = 1e-9
    soon = np.abs(ages[:-1] - ages[visit]) <= costs.near_years + small
    alike = np.abs(_mm(solved, number) - mm) <= costs.near_mm + small
    near: Bools = soon[:, None] & alike
    return near


def _quantiles(values: Floats, chances: Floats, levels: tuple[float, ...]) -> tuple[float, ...]:
    """Return the least values below or at which so much of the chances lies."""
    order = np.argsort(values, axis=None, kind="stable")
    gathered = np.cumsum(chances.ravel()[order])
    at = np.searchsorted(gathered / gathered[-1], np.array(levels) - 1e-12)
    return tuple(float(value) for value in values.ravel()[order][np.minimum(at, len(order) - 1)])
