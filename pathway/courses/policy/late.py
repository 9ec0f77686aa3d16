"""What an arrest's slowness adds: the forecast falls at once by all that it will take off, the difference later."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from pathway.courses.policy.programme import Floats, Programme


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
    effect, reached = programme.arrest.effect_mm[:, plates], programme.tempo.reached
    total = np.zeros_like(now[visit])
    for later in range(visit, programme.steps):
        done = effect[:, visit] - effect[:, later]
        wait = np.maximum(effect[:, visit] * reached[:, later] - done, 0).astype(total.dtype)
        if wait.any():
            total += measure(now[later] + wait[:, None], later) - measured[later]
    return total
