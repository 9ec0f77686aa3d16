"""What a growth arrest and a lengthening lead to: the cost of each in every state of a level, from the visit on.

Arrays of a level are (gains, joints, classes, forecasts). A lengthening is worked out once for all waits, since what
follows it does not depend on them, and at once for the plain state, the arrested one and those arrested in the same
sitting (side by side on the last axis).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np

from pathway.courses.policy.actions import ARREST, BOTH, LENGTHEN, Action, Best, actions_of, no_codes
from pathway.courses.policy.kernels import Kernels
from pathway.courses.policy.late import lateness
from pathway.courses.policy.layout import Key, Layout, Level, Slot
from pathway.courses.policy.lengthening import gain_bands, lengthened
from pathway.courses.policy.programme import BARRED, REMOVAL, Floats, Programme

Values = dict[Key, Floats]
"""By state and level: costs (slots, gains, joints, classes, forecasts)."""


class Operations:
    """The operations of one programme, in tables of one precision."""

    def __init__(
        self, programme: Programme, places: Layout, kernels: Kernels, precision: type[np.floating[Any]]
    ) -> None:
        self.given = programme
        self.layout = places
        self.kernels = kernels
        self.type = precision
        self.codes = {action: code for code, action in enumerate(actions_of(programme))}
        visits = range(programme.steps)
        self._now = [programme.difference_mm(visit).astype(precision) for visit in visits]
        self._burden = [programme.burden(self._now[visit], visit) for visit in visits]
        self._bands: dict[tuple[int, int], Floats] = {}
        self._late: dict[tuple[int, int], Floats] = {}

    def mixed(self, table: Floats, classes: int) -> Floats:
        """Return a table (..., K, M), or its mean (..., 1, M) where the classes are not told apart."""
        if classes == table.shape[-2]:
            return table
        mean: Floats = np.einsum("...km,k->...m", table, self.given.tempo.chance.astype(table.dtype))
        return mean[..., None, :]

    def burden(self, visit: int, level: Level, classes: int) -> Floats:
        """Return the burden (gains, 1, classes, forecasts) from a visit to the next."""
        return self.mixed(self._burden[visit][level.gains], classes)[:, None]

    def late(self, visit: int, plates: int) -> Floats:
        """Return the burden (G, K, M) that an arrest's slowness adds, by the forecast as it stands after it."""
        if (visit, plates) not in self._late:
            self._late[visit, plates] = lateness(self.given, visit, plates, self._now, self._burden, self.given.burden)
        return self._late[visit, plates]

    def _arrested(self, visit: int, plates: int, gains: slice, after: Floats, classes: int) -> Floats:
        """Return costs (..., gains, joints, classes, M) before an arrest, from those (..., K, M) after it."""
        then = after + self.late(visit, plates)[gains, None]
        moved = np.empty_like(then)
        for tempo in range(then.shape[-2]):
            moved[..., tempo, :] = then[..., tempo, :] @ self.kernels.arrest(tempo, plates, visit).T.astype(self.type)
        return self.mixed(moved, classes)

    def _charge(self, table: Floats, visit: int, plates: int, classes: int) -> Floats:
        """Return what an arrest is charged (classes, 1), a repetition counted by its chance."""
        arrest = self.given.arrest
        charge = (table[:, plates, visit, None] + arrest.repeat_chance * arrest.repeat_cost).astype(self.type)
        return self.mixed(charge, classes)

    def arrests(
        self, visit: int, level: int, slots: Sequence[Slot], after: Values
    ) -> Iterator[tuple[int, int, Floats]]:
        """Yield action, slot and cost of every arrest alone or at a removal, for states not yet arrested."""
        arrest, classes = self.given.arrest, self.layout.classes(self.given, visit, False)
        at = [index for index, slot in enumerate(slots) if slot.sitting != BARRED]
        for plates in (int(j) for j in np.flatnonzero(arrest.allowed[:, visit]) if at):
            then = after[True, level][[slots[index].arrested for index in at]]
            moved = self._arrested(visit, plates, self.layout.levels[level].gains, then, classes)
            for index, cost in zip(at, moved, strict=True):
                table = arrest.cost_at_removal if slots[index].sitting == REMOVAL else arrest.cost
                yield self.codes[Action(ARREST, -1, plates)], index, cost + self._charge(table, visit, plates, classes)

    def lengthenings(self, visit: int, level: int, after: Values, *, seen: bool) -> dict[bool, Best]:
        """Return for the plain and the arrested state the best lengthening, and what each costs if `seen`."""
        parts = list(self._parts(visit, level, after))
        whole = self._lengthened(visit, level, parts, seen=seen)
        amounts, size = range(len(self.given.amounts_mm)), len(self.given.forecasts_mm)
        out = dict[bool, Best]()
        start = 0
        for part in parts:
            classes = part.ends[0].shape[-2]
            shape = (*whole.cost.shape[:2], classes, size)
            columns = slice(start, start + classes * size)
            start = columns.stop
            kind = LENGTHEN if part.plates < 0 else BOTH
            codes = no_codes((len(amounts),), len(self.codes))
            codes[:] = [self.codes[Action(kind, amount, part.plates)] for amount in amounts]
            mine = Best(whole.cost[..., columns].reshape(shape) + part.charge, codes[whole.codes[..., columns]])
            mine.codes = mine.codes.reshape(shape)
            if whole.seen is not None:
                costs = whole.seen.items()
                mine.seen = {int(codes[x]): cost[..., columns].reshape(shape) + part.charge for x, cost in costs}
            if part.arrested in out:
                out[part.arrested].join(mine)
            else:
                out[part.arrested] = mine
        return out

    def _parts(self, visit: int, level: int, after: Values) -> Iterator[_Part]:
        """Yield what a lengthening leads to: from the plain and the arrested state, and with an arrest at its start."""
        places, arrest = self.layout, self.given.arrest
        targets = [to for to in (level + 1, places.stopped) if to is not None]

        def then(arrested: bool, to: int) -> Floats:
            costs: Floats = after[arrested, to][int(places.of[visit + 1][arrested, to][places.just])]
            return costs

        for arrested in (False, True):
            if not any(slot.lengthen for slot in places.slots[visit].get((arrested, level), ())):
                continue
            yield _Part(arrested, -1, [then(arrested, to) for to in targets], np.zeros((1, 1), self.type))
            if arrested:
                continue
            classes = places.classes(self.given, visit, False)
            for plates in (int(j) for j in np.flatnonzero(arrest.allowed_at_start[:, visit])):
                ends = [
                    self._arrested(visit, plates, places.levels[to].gains, then(True, to), classes) for to in targets
                ]
                yield _Part(False, plates, ends, self._charge(arrest.cost_at_start, visit, plates, classes))

    def _lengthened(self, visit: int, level: int, parts: list[_Part], *, seen: bool) -> Best:
        """Return the best amount (its code) of every part, side by side: (gains, joints, columns)."""
        places, done = self.layout, self.layout.levels[level].done
        table = self.given.tables(done)
        stop_chance = table.stop_chance[visit]
        paths = []
        for at, chance in enumerate((1 - stop_chance, stop_chance)[: len(parts[0].ends)]):
            flat = [part.ends[at].reshape(*part.ends[at].shape[:2], -1) for part in parts]
            to = level + 1 if at == 0 else len(places.levels) - 1
            paths.append((places.levels[to], np.concatenate(flat, axis=2), chance))
        key = visit, int(self.given.bone_of[done])
        if key not in self._bands:
            self._bands = {at: bands for at, bands in self._bands.items() if at[0] == visit}
            self._bands[key] = gain_bands(table, visit)
        return lengthened(table, self.kernels, visit, places.levels[level], paths, self._bands[key], seen=seen)


class _Part(NamedTuple):
    """A way of lengthening: from which state, which plates with it (-1: none), the costs after it, its charge.

    `ends` are costs (gains, joints, classes, forecasts) in the next level and, where one can stop, stopped.
    """

    arrested: bool
    plates: int
    ends: list[Floats]
    charge: Floats
