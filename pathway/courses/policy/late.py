"""What an arrest's slowness adds: the forecast falls at once by all that it will take off, the difference later."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from pathway.courses.policy.programme import Floats, Programme


def still_to_come(programme: Programme, visit: int, plates: int) -> Floats:
    """Return by how much more (K, T - visit) legs differ at each visit from then on than the lowered forecast says."""
    effect, reached = programme.arrest.effect_mm[:, plates], programme.tempo.reached
    later = slice(visit, programme.steps)
    done = effect[:, visit, None] - effect[:, later]
    waits: Floats = np.maximum(effect[:, visit, None] * reached[:, later] - done, 0)
    return waits


def lateness(
    programme: Programme,
    visit: int,
    plates: int,
    now: list[Floats],
    measured: list[Floats],
    measure: Callable[[Floats, int], Floats],
) -> Floats:
    """Return what a measure of the difference adds up to more (G, K, M), by forecast and gain after the arrest.

    At a later visit the difference is larger than the lowered forecast says, by what is still to come less what the
    share reached leaves out anyway. `now` are the differences (G, K, M) by visit; `measure` takes such and a visit,
    and gives `measured` for them.
    Exact where forecast and gain stay as they are.
    """
    total, waits = np.zeros_like(now[visit]), still_to_come(programme, visit, plates)
    for later in range(visit, programme.steps):
        wait = waits[:, later - visit].astype(total.dtype)
        if wait.any():
            total += measure(now[later] + wait[:, None], later) - measured[later]
    return total
