"""Which states can be reached from today, and which of them have the same future and are worked out once.

A level is a number of lengthenings done, or "stopped". In a level the visits since the last lengthening matter only
by what they will allow: those that allow the same at every visit to come share one slot. Both are exact.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pathway.courses.policy.programme import BARRED, Bools, Ints, Programme

STOPPED = -1
"""Stands for the number done in the level in which nothing more is lengthened."""


@dataclass(frozen=True, slots=True)
class Level:
    """`done` lengthenings (or STOPPED), the joints' states it can hold, and the gains `low` to `high` on the grid."""

    done: int
    joints: tuple[int, ...]
    low: int
    high: int

    @property
    def gains(self) -> slice:
        """Return the gains as a slice of the grid."""
        return slice(self.low, self.high + 1)

    @property
    def size(self) -> tuple[int, int]:
        """Return the numbers of gains and of the joints' states."""
        return self.high + 1 - self.low, len(self.joints)


@dataclass(frozen=True, slots=True)
class Slot:
    """Waits of one future: the slot that follows, the one that follows an arrest, and what may be done now."""

    following: int
    arrested: int
    lengthen: bool
    sitting: int


Key = tuple[bool, int]
"""Arrested, and the index of a level."""


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """`levels`, the stopped one last where it can be reached (`stopped` its index); by visit the slots of each level.

    `of` gives by visit and level the slot (W,) of each wait, -1 where it cannot be reached.
    """

    levels: tuple[Level, ...]
    stopped: int | None
    slots: tuple[dict[Key, tuple[Slot, ...]], ...]
    of: tuple[dict[Key, Ints], ...]
    just: int
    """The wait of a visit that follows a lengthening."""

    def classes(self, programme: Programme, visit: int, arrested: bool) -> int:
        """Return the classes of tempo told apart: 1 while hidden; an arrest after today shows them."""
        hidden = visit < programme.tempo.known_from and (not arrested or programme.start.arrested)
        return 1 if hidden else programme.classes


class _Open:
    """What may be done at each visit, by what the tables leave of any amount and any plates."""

    def __init__(self, programme: Programme) -> None:
        arrest = programme.arrest
        any_plates: Bools = np.any(arrest.allowed, axis=0)
        self.sitting: Ints = np.where(any_plates[:, None], arrest.sitting, BARRED)
        self.after_stop = arrest.after_stop
        some: list[Bools] = [np.any(table.allowed, axis=(1, 2, 3)) for table in programme.lengthenings]
        self.when: Bools = programme.when.copy()
        for done in range(programme.most):
            self.when[:, done] &= some[int(programme.bone_of[done])][:, None]

    def may_lengthen(self, visit: int, done: int, wait: int) -> bool:
        return 0 <= done < self.when.shape[1] and bool(self.when[visit, done, wait])

    def sitting_at(self, visit: int, arrested: bool, done: int, wait: int) -> int:
        barred = arrested or (done == STOPPED and not self.after_stop)
        return BARRED if barred else int(self.sitting[visit, wait])


def layout(programme: Programme) -> Layout:
    """Return the states of a programme that can be reached from today, by level and slot."""
    levels, open_ = _levels(programme), _Open(programme)
    stopped = len(levels) - 1 if levels[-1].done == STOPPED else None
    reached = _reached(programme, open_, levels, stopped)
    slots: list[dict[Key, tuple[Slot, ...]]] = []
    of: list[dict[Key, Ints]] = []
    last = programme.waits - 1
    for visit in range(programme.steps, -1, -1):
        slots.append({})
        of.append({})
        for (arrested, level), waits in reached[visit].items():
            found: dict[tuple[int, int, bool, int], int] = {}
            at = np.full(programme.waits, -1)
            for wait in np.flatnonzero(waits).tolist():
                slot = 0, 0, False, BARRED
                if visit < programme.steps:
                    then, done = min(wait + 1, last), levels[level].done
                    sitting = open_.sitting_at(visit, arrested, done, wait)
                    slot = (
                        int(of[-2][arrested, level][then]),
                        int(of[-2][True, level][then]) if sitting != BARRED else -1,
                        open_.may_lengthen(visit, done, wait),
                        sitting,
                    )
                at[wait] = found.setdefault(slot, len(found))
            slots[-1][arrested, level] = tuple(Slot(*slot) for slot in found)
            of[-1][arrested, level] = at
    return Layout(levels, stopped, tuple(reversed(slots)), tuple(reversed(of)), min(1, last))


def _levels(programme: Programme) -> tuple[Level, ...]:
    start, top = programme.start, programme.gains - 1
    if start.stopped:
        return (Level(STOPPED, (start.joint,), 0, 0),)
    levels = [Level(start.done, (start.joint,), 0, 0)]
    may_stop = False
    for done in range(start.done, programme.most):
        before, table = levels[-1], programme.tables(done)
        likely = np.any(table.gain_chance > 0, axis=3) & np.any(table.allowed, axis=(2, 3))[:, :, None]
        steps = table.gain_steps[likely]
        if not (len(steps) and programme.when[:, done].any()):
            break
        change: Bools = np.any(table.joints > 0, axis=(0, 1, 2))
        joints = tuple(int(at) for at in np.flatnonzero(change[list(before.joints)].any(axis=0)))
        low, high = min(before.low + int(steps.min()), top), min(before.high + int(steps.max()), top)
        levels.append(Level(done + 1, joints, low, high))
        may_stop |= bool(table.stop_chance.any())
    if may_stop:
        levels.append(Level(STOPPED, (0,), levels[1].low, levels[-1].high))
    return tuple(levels)


def _reached(
    programme: Programme, open_: _Open, levels: tuple[Level, ...], stopped: int | None
) -> list[dict[Key, Bools]]:
    """Return by visit and level the waits (W,) that can be."""
    last, just = programme.waits - 1, min(1, programme.waits - 1)
    reached: list[dict[Key, Bools]] = [{} for _ in range(programme.steps + 1)]

    def add(visit: int, key: Key, wait: int) -> None:
        reached[visit].setdefault(key, np.zeros(programme.waits, bool))[wait] = True

    add(0, (programme.start.arrested, 0), programme.start.waited)
    for visit in range(programme.steps):
        with_start = bool(programme.arrest.allowed_at_start[:, visit].any())
        for (arrested, level), waits in list(reached[visit].items()):
            for wait in np.flatnonzero(waits).tolist():
                done, then = levels[level].done, min(wait + 1, last)
                add(visit + 1, (arrested, level), then)
                if open_.sitting_at(visit, arrested, done, wait) != BARRED:
                    add(visit + 1, (True, level), then)
                if open_.may_lengthen(visit, done, wait):
                    for after in {arrested, arrested or with_start}:
                        add(visit + 1, (after, level + 1), just)
                        if stopped is not None:
                            add(visit + 1, (after, stopped), just)
    return reached
