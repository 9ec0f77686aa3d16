"""The visits of a programme, and what the time since a lengthening allows at each: the next one, or an arrest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pathway.courses.policy.programme import BARRED, OWN, REMOVAL, Bools, Floats, Ints

_SAME = 1e-6


@dataclass(frozen=True, slots=True)
class Frames:
    """How long a frame stays after a lengthening begins, and how long after it no arrest is done by itself (years).

    `begun_years` and `off_years` are the ages at which the last lengthening before today began and its frame is off,
    None where there was none; `on` tells whether it is on today.
    """

    stays_years: float
    rest_years: float
    begun_years: float | None = None
    off_years: float = 0.0
    on: bool = False


def waits_of(ages: Floats, longest_years: float) -> int:
    """Return W, at least 3: as many visits as the last wait but one stands for cover the longest wait anywhere."""
    within = (ages > ages[:, None] - longest_years + _SAME) & (ages <= ages[:, None])
    return max(1 + int(within.sum(axis=1).max()), 3)


def when_of(ages: Floats, usable: Bools, required_years: Sequence[float] | Floats, waits: int) -> Bools:
    """Return by visit, number done and visits since the last (T, N, W) whether another may begin.

    `usable` (T, N) are the windows, `required_years` (N,) the waits, or (T, N) by visit. The first to come waits for
    nothing else: windows know what was done before.
    """
    steps, numbers = usable.shape
    at = np.arange(steps)[:, None] - np.arange(waits)
    since = np.where(at >= 0, ages[:steps, None] - ages[np.maximum(at, 0)], np.inf)
    since[:, -1] = np.inf
    when = np.zeros((steps, numbers, waits), bool)
    required = np.broadcast_to(np.asarray(required_years, float), (steps, numbers))
    for number in range(numbers):
        waited = since >= required[:, number, None] - _SAME
        when[:, number] = usable[:, number, None] & (waited | (number == 0))
    return when


def sitting_of(ages: Floats, steps: int, waits: int, frames: Frames) -> Ints:
    """Return by visit and visits since the last lengthening (T, W) how an arrest may be done.

    None in a frame and so long after it; at the first visit when the frame can go, with its removal.
    """
    table = np.full((steps, waits), OWN)
    for begun in range(steps):
        off = float(ages[begun]) + frames.stays_years
        for visit in range(begun, min(begun + waits - 1, steps)):
            table[visit, visit - begun] = _sitting(ages, visit, off, off + frames.rest_years, removal=True)
    if frames.begun_years is not None:
        for visit in range(min(steps, waits - 1)):
            free = frames.off_years + frames.rest_years
            table[visit, visit + 1 : -1] = _sitting(ages, visit, frames.off_years, free, removal=frames.on)
    return table


def waited_of(ages: Floats, waits: int, frames: Frames) -> int:
    """Return the visits since the last lengthening before today began; W - 1 where it is long ago or none was.

    Fewer where W - 1, which stands for long ago, would else be reached before the frame's time is over.
    """
    if frames.begun_years is None:
        return waits - 1
    visits = max(round((float(ages[0]) - frames.begun_years) / float(ages[1] - ages[0])), 1)
    barred = int((ages < frames.off_years + frames.rest_years - _SAME).sum())
    return min(visits, max(waits - 1 - barred, 1) if barred else waits - 1)


def _sitting(ages: Floats, visit: int, off: float, free: float, *, removal: bool) -> int:
    if removal and visit == int(np.searchsorted(ages, off - _SAME)):
        return REMOVAL
    return OWN if float(ages[visit]) >= free - _SAME else BARRED
