"""How a policy ends, as equally likely values: what the plan tells of a course beyond its path."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pathway.courses.policy.counts import Counts, Harm
from pathway.courses.policy.induction import Solved
from pathway.courses.policy.outcome import Outcome
from pathway.courses.policy.programme import Floats

VALUES = 2001
"""How many equally likely values stand for a distribution."""
# A normal distribution in three values: exact to the fifth power, as the final miss is judged.
_NODES = ((-(3**0.5), 1 / 6), (0.0, 2 / 3), (3**0.5, 1 / 6))


@dataclass(frozen=True, slots=True, eq=False)
class Ends:
    """How a course ends when it is decided again at every visit, and troubles come as often as published.

    `residual_mm` (m,) and `height_lost_mm` (m,) are equally likely values in rising order, long less short leg at
    maturity and the growth that closed plates would have made; `within` the chances to end within each of
    `within_mm`; `numbers` how likely (0 to 1) each number of further lengthenings is. Expected numbers: `planned`
    and `unplanned` operations for length, `harm` that lasts, `device_months`, `months_over` the share that is counted,
    `months_over_mm` each of the limits in mm; `peak_mm` is the largest mean difference of all visits. `counts` say how
    operations and months with a device spread, `harms` what goes wrong, with the range between teams.
    """

    residual_mm: Floats
    height_lost_mm: Floats
    within_mm: tuple[float, ...]
    within: tuple[float, ...]
    numbers: dict[int, float]
    planned: float
    unplanned: float
    harm: float
    device_months: float
    months_over: float
    months_over_mm: tuple[float, ...]
    peak_mm: float
    counts: Counts
    harms: tuple[Harm, ...] = ()


def ends_of(solved: Solved, outcome: Outcome, harms: tuple[Harm, ...] = ()) -> Ends:
    """Return how a policy ends, from the exact distribution."""
    given = solved.programme
    spread = given.forecast.open_variance_mm2**0.5
    left, chance = outcome.left_mm.ravel(), outcome.left_chance.ravel()
    residual = np.concatenate([left + spread * at for at, _ in _NODES])
    weights = np.concatenate([chance * weight for _, weight in _NODES])
    done = outcome.arrest.sum(axis=0)
    arrest = given.arrest
    spread_mm = arrest.sd_share * arrest.effect_mm if arrest.told_sd_mm is None else arrest.told_sd_mm
    effect, sd = (np.einsum("k,kjt->jt", given.tempo.chance, one).ravel() for one in (arrest.effect_mm, spread_mm))
    # An arrest that works less takes less height: its effect spreads as the policy has it.
    lost = np.concatenate([*(effect + at * sd for at, _ in _NODES), [0.0]])
    undone = max(1.0 - float(done.sum()), 0.0)
    weighed = np.concatenate([*(done.ravel() * weight for _, weight in _NODES), [undone]])
    return Ends(
        residual_mm=_values(residual, weights),
        height_lost_mm=_values(np.maximum(lost, 0.0), weighed),
        within_mm=given.costs.within_mm,
        within=tuple(min(chance, given.costs.told_at_most) for chance in outcome.within),
        numbers={number - given.start.done: float(p) for number, p in enumerate(outcome.number) if p > 0},
        planned=outcome.planned,
        unplanned=outcome.unplanned,
        harm=outcome.harm,
        device_months=outcome.device_months,
        months_over=outcome.months_over,
        months_over_mm=outcome.months_over_mm,
        peak_mm=float(outcome.difference_mm.max()),
        counts=outcome.counts,
        harms=harms,
    )


def _values(values: Floats, chances: Floats) -> Floats:
    """Return so many equally likely values of a distribution, rising."""
    order = np.argsort(values, kind="stable")
    gathered = np.cumsum(chances[order])
    middles = (np.arange(VALUES) + 0.5) / VALUES * gathered[-1]
    at = np.minimum(np.searchsorted(gathered, middles), len(order) - 1)
    found: Floats = values[order][at]
    return found
