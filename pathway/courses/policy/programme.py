"""What a policy is worked out from: the visits, what is random, what may be done and what it costs. No medicine.

Sizes: K classes of tempo, T steps between T + 1 visits, M forecasts and G gains of the grid, X amounts of a
lengthening with O outcomes each, N lengthenings at most of B sets of tables, W visits since the last one (the last of
them "or more"), S states of the joints, J sets of growth plates. Lengths are mm, ages years, costs planned operations.

One bone is lengthened, or two in a fixed order: which set of tables the next lengthening has follows from how many
are done. Only the total gain is kept; what each bone has of it is for the tables to say. At each of
the first T visits one thing is done; then the forecast moves, and the next visit comes. After the last visit what is
left is judged. The difference at a visit is `forecast * reached + offset - gained`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from pathway.courses.policy.checks import problems_of
from pathway.problems import Refused

Floats = npt.NDArray[np.floating[Any]]
Ints = npt.NDArray[np.integer[Any]]
Bools = npt.NDArray[np.bool_]

BARRED, OWN, REMOVAL = 0, 1, 2
"""An arrest so many visits after a lengthening: not allowed, in a sitting of its own, with the device's removal."""


@dataclass(frozen=True, slots=True, eq=False)
class Tempo:
    """Early, middle and late maturing: K classes, hidden before the visit `known_from` and known from it on.

    `chance` (K,); `reached` (K, T + 1) the share of the mature difference that is present; `offset_mm` (K, T + 1)
    what is present beyond that share, such as what an arrest done before today has still to take off;
    `long_leg_mm` (K, T + 1). An arrest done while the class is hidden shows it from the next visit on, as its
    effect depends on it; one done before today does not.
    """

    chance: Floats
    known_from: int
    reached: Floats
    offset_mm: Floats
    long_leg_mm: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Forecast:
    """The mature difference if nothing more is done: a walk without drift about `mean_mm`.

    The grid goes so many steps `below` and `above` the mean (what goes beyond stays at the edge); its step should not
    be wider than the walk's whole SD, or decisions near a threshold are too coarse.
    `step_variance_mm2` (T,) is what it moves by until the next visit; `open_variance_mm2` what no visit tells.
    """

    mean_mm: float
    below: int
    above: int
    step_variance_mm2: Floats
    open_variance_mm2: float


@dataclass(frozen=True, slots=True, eq=False)
class Lengthening:
    """Lengthenings of one bone by `amounts_mm` (X,), each table by visit and by what was gained before in all.

    `allowed` (T, X, G, S) holds beside the programme's `when`. `cost` (T, X, G, S) is all that one costs on average.
    Gained are `gain_steps` (T, X, O) of the grid, at least 0, with `gain_chance` (T, X, O, G), the first of them if
    the step works; beyond the last gain of the grid it stays there. With `loss_chance` (T, X) the forecast rises by
    `loss_mm` (T, X). `joints` (T, X, G, S, S) are the chances from each state of the joints to each; with `stop_chance`
    (T, X, G) nothing is lengthened afterwards. All these are independent of each other. Counted, not charged: `planned`
    (T, X) and `unplanned` (T, X, G, S) operations, lasting `harm` (T, X, G, S), `device_months` (T, X, G).
    """

    amounts_mm: Floats
    allowed: Bools
    cost: Floats
    gain_steps: Ints
    gain_chance: Floats
    loss_chance: Floats
    loss_mm: Floats
    joints: Floats
    stop_chance: Floats
    planned: Floats
    unplanned: Floats
    harm: Floats
    device_months: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Arrest:
    """Growth arrest of one of J sets of plates, once: the forecast falls by `effect_mm` (K, J, T), SD `sd_share` of it.

    `effect_mm` is also what an arrest still takes off from each visit on: what one done at t has not yet taken off
    at a later visit is its effect there, and this lateness is charged at the arrest as burden (exactly, if forecast
    and gain stay). `allowed` (J, T) for one alone or at a removal, `allowed_at_start` (J, T) in the sitting of a
    lengthening's start. `sitting` (T, W) says BARRED, OWN or REMOVAL by visit and visits since the last lengthening
    (the last entry counts where there was none; more visits than since today are of one begun before today). Costs
    (K, J, T) `cost`, `cost_at_start` (beside the lengthening's own), `cost_at_removal`; done again with
    `repeat_chance` at `repeat_cost`. `planned`, `planned_at_start` and `planned_at_removal` count operations.
    `after_stop`: whether it may still be done when family or team stopped lengthening. `told_sd_mm` (K, J, T) is the SD
    by which what comes of a policy is told, where that is wider than the one by which it is chosen; None: the same.
    """

    effect_mm: Floats
    sd_share: float
    allowed: Bools
    allowed_at_start: Bools
    sitting: Ints
    cost: Floats
    cost_at_start: Floats
    cost_at_removal: Floats
    repeat_chance: float
    repeat_cost: float
    planned: float
    planned_at_start: float
    planned_at_removal: float
    after_stop: bool
    told_sd_mm: Floats | None = None


@dataclass(frozen=True, slots=True)
class Costs:
    """What a difference costs, and what is counted.

    A year costs `burden * max(percent - burden_from_percent, 0) ** burden_power`, percent being the difference, too
    long or too short, of the long leg. The end costs `miss * (max(|difference| - miss_flat_mm, 0) / miss_scale_mm)
    ** 2`. Beyond a wished `wish_mm` a year costs `wish_a_year` more for each cm. Counted: months over `over_percent`
    and over each of `over_mm`, chances to end `within_mm`, told as `told_at_most` at most. Two first operations are the
    same choice when of one kind and within `near_years` and `near_mm`.
    """

    burden: float
    burden_from_percent: float
    burden_power: float
    miss: float
    miss_flat_mm: float
    miss_scale_mm: float
    over_percent: float
    within_mm: tuple[float, ...]
    near_years: float
    near_mm: float
    wish_mm: float = math.inf
    wish_a_year: float = 0.0
    over_mm: tuple[float, ...] = ()
    told_at_most: float = 1.0


@dataclass(frozen=True, slots=True)
class Start:
    """The state today: gain 0, forecast as it stands.

    `done` are lengthenings counted before today, `waited` the visits since the start of the last one; W - 1 where
    nothing was lengthened. One before today need not be counted for a device still on to keep arrests away.
    """

    arrested: bool
    stopped: bool
    joint: int
    done: int
    waited: int


@dataclass(frozen=True, slots=True, eq=False)
class Programme:
    """All of it. `age_years` (T + 1,) rise, by any steps. Tables that disagree are refused with all that is wrong.

    `lengthenings` are the B sets of tables, with the same amounts; `bone_of` (N,) says which of them the lengthening
    after so many uses; `when` (T, N, W) allows one by number done and visits since the last.
    """

    age_years: Floats
    grid_mm: float
    tempo: Tempo
    forecast: Forecast
    lengthenings: tuple[Lengthening, ...]
    bone_of: Ints
    when: Bools
    arrest: Arrest
    costs: Costs
    start: Start

    def __post_init__(self) -> None:
        problems = list(problems_of(self))
        if problems:
            raise Refused(*problems, head="The policy's tables do not fit together.")

    @property
    def steps(self) -> int:
        """Return T, the visits at which something may be done."""
        return len(self.age_years) - 1

    @property
    def years(self) -> Floats:
        """Return the years (T,) from each visit to the next."""
        return np.diff(np.asarray(self.age_years, float))

    @property
    def forecasts_mm(self) -> Floats:
        """Return the forecasts (M,) of the grid."""
        return self.forecast.mean_mm + self.grid_mm * np.arange(-self.forecast.below, self.forecast.above + 1)

    @property
    def amounts_mm(self) -> Floats:
        """Return the amounts (X,) of every lengthening."""
        return self.lengthenings[0].amounts_mm

    def tables(self, done: int) -> Lengthening:
        """Return the tables of the lengthening that follows so many."""
        return self.lengthenings[int(self.bone_of[done])]

    @property
    def gains(self) -> int:
        """Return G."""
        return int(self.lengthenings[0].allowed.shape[2])

    @property
    def joints(self) -> int:
        """Return S."""
        return int(self.lengthenings[0].allowed.shape[3])

    @property
    def most(self) -> int:
        """Return N, the most lengthenings."""
        return int(self.when.shape[1])

    @property
    def waits(self) -> int:
        """Return W."""
        return int(self.when.shape[2])

    @property
    def classes(self) -> int:
        """Return K."""
        return len(self.tempo.chance)

    def is_open(self, *, lengthening: bool) -> bool:
        """Return whether the first lengthening can ever begin, or without `lengthening` an arrest be done."""
        if not lengthening:
            return bool(self.arrest.allowed.any()) and not self.start.arrested
        if self.start.done >= self.most:
            return False
        visits = self.when[:, self.start.done].any(axis=1)
        return bool(self.tables(self.start.done).allowed[visits].any())

    def difference_mm(self, visit: int) -> Floats:
        """Return the differences (G, K, M) at a visit."""
        forecast = self.forecasts_mm[None, None, :] * self.tempo.reached[None, :, visit, None]
        gained = self.grid_mm * np.arange(self.gains)[:, None, None]
        return forecast + self.tempo.offset_mm[None, :, visit, None] - gained

    def burden(self, difference_mm: Floats, visit: int) -> Floats:
        """Return what the differences (..., K, M) cost from a visit to the next."""
        # In place, as this is asked for thousands of differences at a time, thousands of times.
        over = np.abs(difference_mm)
        over *= (100 / self.tempo.long_leg_mm[:, visit, None]).astype(difference_mm.dtype)
        over -= self.costs.burden_from_percent
        np.maximum(over, 0, out=over)
        # A root and a product are many times faster than a power.
        cost: Floats = over * np.sqrt(over) if self.costs.burden_power == 1.5 else over**self.costs.burden_power
        cost *= self.costs.burden
        if self.costs.wish_a_year:
            cost += self.costs.wish_a_year * np.maximum(np.abs(difference_mm) - self.costs.wish_mm, 0) / 10
        cost *= float(self.age_years[visit + 1] - self.age_years[visit])
        return cost

    def miss(self, difference_mm: Floats) -> Floats:
        """Return what it costs to end with such differences."""
        over = np.maximum(np.abs(difference_mm) - self.costs.miss_flat_mm, 0) / self.costs.miss_scale_mm
        cost: Floats = self.costs.miss * over**2
        return cost

    def missed(self, difference_mm: Floats) -> Floats:
        """Return the mean of `miss` over what no visit has told: normal, so that it can be written down exactly."""
        sd = float(np.sqrt(self.forecast.open_variance_mm2))
        if sd == 0:
            return self.miss(difference_mm)
        squares = sum(_square_beyond(side * difference_mm - self.costs.miss_flat_mm, sd) for side in (1, -1))
        mean: Floats = self.costs.miss * np.asarray(squares) / self.costs.miss_scale_mm**2
        return mean


def _square_beyond(mean: Floats, sd: float) -> Floats:
    """Return the mean of the square of what a normal value has above 0, for each mean."""
    at = np.asarray(mean, float) / sd
    # numpy has no error function; the differences are few.
    below = np.array([math.erfc(-x / 2**0.5) / 2 for x in at.ravel().tolist()]).reshape(at.shape)
    density = np.exp(-(at**2) / 2) / np.sqrt(2 * np.pi)
    squares: Floats = sd**2 * ((at**2 + 1) * below + at * density)
    return squares
