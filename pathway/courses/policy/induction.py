"""Backward induction: the best thing to do in every state that can be reached from today, and what it costs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pathway.courses.policy.actions import Action, Best, Codes, actions_of, no_codes
from pathway.courses.policy.kernels import Kernels
from pathway.courses.policy.layout import Key, Layout, layout
from pathway.courses.policy.operations import Operations, Values
from pathway.courses.policy.programme import BARRED, Floats, Programme


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """The best policy of a programme.

    `value` is the expected cost from today on. `choices` holds by visit, for each level with something to choose,
    the best action (an index of `actions`) by slot, gain, joints, class and forecast. `first` holds by visit, for
    the state that today's becomes if nothing is done, what each action allowed there costs from that visit on
    (classes, forecasts); the burden until the next visit is left out, since all of them carry it.
    """

    programme: Programme
    layout: Layout
    kernels: Kernels
    actions: tuple[Action, ...]
    value: float
    choices: tuple[dict[Key, Codes], ...]
    first: tuple[dict[int, Floats], ...]


def solve(programme: Programme, *, precision: type[np.floating[Any]] = np.float64) -> Solved:
    """Return the best policy; `precision` is that of the tables (float32 is faster and keeps a value to 1e-5 of it)."""
    places, kernels = layout(programme), Kernels(programme)
    operations = Operations(programme, places, kernels, precision)
    values = _ends(programme, places, precision)
    choices: list[dict[Key, Codes]] = []
    first: list[dict[int, Floats]] = []
    for visit in range(programme.steps - 1, -1, -1):
        values, chosen, seen = _visit(operations, visit, _expected(operations, visit, values))
        choices.append(chosen)
        first.append(seen)
    start = programme.start
    slot = int(places.of[0][start.arrested, 0][start.waited])
    today = values[start.arrested, 0][slot, 0, 0, :, programme.forecast.below].astype(float)
    value = float(today @ programme.tempo.chance) if len(today) > 1 else float(today[0])
    return Solved(programme, places, kernels, actions_of(programme), value, tuple(choices[::-1]), tuple(first[::-1]))


def _ends(programme: Programme, places: Layout, precision: type[np.floating[Any]]) -> Values:
    """Return what the end costs, over what no visit has told."""
    cost = programme.missed(programme.difference_mm(programme.steps))
    out: Values = {}
    for key, slots in places.slots[-1].items():
        level = places.levels[key[1]]
        table = cost[level.gains, None].astype(precision)
        out[key] = np.broadcast_to(table, (len(slots), *level.size, *table.shape[2:]))
    return out


def _expected(operations: Operations, visit: int, values: Values) -> Values:
    """Return what the next visit's states cost on average, seen from this one before the forecast moves."""
    walk = operations.kernels.walk(visit).T.astype(operations.type)
    given, places = operations.given, operations.layout
    told = {key: operations.mixed(value, places.classes(given, visit, key[0])) for key, value in values.items()}
    moves = given.forecast.step_variance_mm2[visit] > 0
    return {key: value @ walk for key, value in told.items()} if moves else told


def _visit(operations: Operations, visit: int, after: Values) -> tuple[Values, dict[Key, Codes], dict[int, Floats]]:
    """Return at a visit the costs, the actions chosen, and what each costs in today's state grown older."""
    places, start = operations.layout, operations.given.start
    today = (start.arrested, 0)
    slot_today = int(places.of[visit][today][min(start.waited + visit, operations.given.waits - 1)])
    seen: dict[int, Floats] = {}
    lengthened: dict[int, dict[bool, Best]] = {}
    values: Values = {}
    chosen: dict[Key, Codes] = {}
    for key, slots in places.slots[visit].items():
        arrested, level = key
        cost = after[key][[slot.following for slot in slots]]
        if key == today:
            seen[0] = cost[slot_today, 0, 0].astype(float)
        if any(slot.lengthen or slot.sitting != BARRED for slot in slots):
            codes = no_codes(cost.shape, len(operations.codes))
            rows = [Best(*row) for row in zip(cost, codes, strict=True)]
            if any(slot.lengthen for slot in slots) and level not in lengthened:
                lengthened[level] = operations.lengthenings(visit, level, after, seen=level == 0)
            for row, slot in zip(rows, slots, strict=True):
                if slot.lengthen:
                    row.join(lengthened[level][arrested])
            for code, at, arrest in operations.arrests(visit, level, slots, after) if not arrested else ():
                rows[at].take(arrest, code)
                if key == today and at == slot_today:
                    seen[code] = arrest[0, 0].astype(float)
            if key == today and slots[slot_today].lengthen:
                options = lengthened[level][arrested].seen or {}
                costs = {code: option[0, 0].astype(float) for code, option in options.items()}
                seen |= {code: option for code, option in costs.items() if np.isfinite(option).all()}
            chosen[key] = codes
        values[key] = cost + operations.burden(visit, places.levels[level], cost.shape[3])
    return values, chosen, seen
