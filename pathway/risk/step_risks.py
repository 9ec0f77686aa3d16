"""What one lengthening of each amount may bring, for the tables of a programme under uncertainty.

Nothing here is meant to be shown: outside the reach of the published counts the line is simply drawn on, and
`outside` says where.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from pathway.problems import refused
from pathway.protocol.harm import OUTCOMES
from pathway.protocol.model import Protocol
from pathway.risk.fitting import interval_z
from pathway.risk.pooled import Pooled, pooled
from pathway.risk.rates import FEMUR_ONLY, HUNDRED
from pathway.risk.steps import Step, check_step, outside
from pathway.risk.terms import COEFFICIENTS, SLOPE, Floats, covariates, slope_factor

Level = Literal["centre", "low", "high"]
SIGNS: Mapping[str, float] = {"low": -1.0, "centre": 0.0, "high": 1.0}


@dataclass(frozen=True, slots=True)
class StepRisks:
    """Numbers of one lengthening, each an array of the shape of mm, percent and age together.

    `events`: expected events by outcome. `short_least_mm`, `short_mean_mm` and `short_most_mm`: what a lengthening
    that ends short loses, any amount between least and most alike. `stopping`: chance that family or team
    stops a treatment (not a lengthening). `outside`: where published counts do not reach.
    """

    events: Mapping[str, Floats]
    short_least_mm: Floats
    short_mean_mm: Floats
    short_most_mm: Floats
    stopping: float
    outside: np.ndarray

    def chance(self, outcome: str) -> Floats:
        """Return the chance of at least one event of an outcome; raises KeyError for an unknown one."""
        return np.asarray(-np.expm1(-self.events[outcome]), dtype=np.float64)

    @property
    def unplanned_operations(self) -> Floats:
        """Return the expected number of unplanned operations."""
        return self.events["unplanned_operation"]

    @property
    def short_of_goal(self) -> Floats:
        """Return the chance that the lengthening ends short of its goal."""
        return self.chance("shortfall")

    @property
    def fracture(self) -> Floats:
        """Return the chance of a fracture or bending of the new bone."""
        return self.chance("fracture")

    @property
    def hip_slip(self) -> Floats:
        """Return the chance that the hip becomes unstable; 0 for a tibia."""
        return self.chance("hip")

    @property
    def knee_slip(self) -> Floats:
        """Return the chance that the knee becomes unstable."""
        return self.chance("knee")

    @property
    def motion_lost(self) -> Floats:
        """Return the chance that the knee stays stiff or is operated for it."""
        return self.chance("knee_lasting")

    @property
    def nerve(self) -> Floats:
        """Return the chance of a nerve sign; nearly all of them go."""
        return self.chance("nerve")

    @property
    def infection(self) -> Floats:
        """Return the chance of a deep infection."""
        return self.chance("deep_infection")

    @property
    def lasting_harm(self) -> Floats:
        """Return the chance of lasting harm."""
        return self.chance("lasting_harm")


def step_risks(protocol: Protocol, step: Step, slope: float | None = None, level: Level = "centre") -> StepRisks:
    """Return what a lengthening of each amount may bring; `mm`, `percent` and `age_years` of the step may be arrays.

    `slope`: log events for each ten points (the unit of the rules) of percent; the pooled table's own where None.
    `level`: a typical team, or the low or high end of the range of a new team in every outcome at once. Growth lost
    afterwards is none of this. Raises Refused for a step that is no lengthening, or another level.
    """
    check_step(step)
    table = pooled(protocol) if slope is None else pooled(protocol).at_slope(slope)
    if level not in SIGNS:
        raise refused("risk", f"the level {level!r}", f"one of {', '.join(SIGNS)}", "name one of them")
    sign = SIGNS[level]
    mm, percent, _ = np.broadcast_arrays(*(np.asarray(x, dtype=float) for x in (step.mm, step.percent, step.age_years)))
    factor = slope_factor(percent, protocol)
    lost = protocol.value("risk_shortfall_percent")
    least, most = (lost.value if end is None else end for end in (lost.low, lost.high))
    return StepRisks(
        events={name: _events(protocol, table, name, step, factor, sign) for name in OUTCOMES},
        short_least_mm=mm * least / HUNDRED,
        short_mean_mm=mm * (least + most) / 2 / HUNDRED,
        short_most_mm=mm * most / HUNDRED,
        stopping=protocol.number("risk_stopping_of_100") / HUNDRED,
        outside=outside(protocol, step) | step.bone_disorder,
    )


def _events(protocol: Protocol, table: Pooled, outcome: str, step: Step, factor: Floats, sign: float) -> Floats:
    """Return the expected events of one outcome over an array of percents, given as what the slope is multiplied by."""
    if outcome in FEMUR_ONLY and step.bone == "tibia":
        return np.zeros(factor.shape)
    row = covariates(outcome, step.mix(protocol), protocol)
    at = COEFFICIENTS.index(SLOPE)
    log_events = row @ table.mean + table.mean[at] * factor
    if sign:
        across, own = (table.covariance @ row)[at], table.covariance[at, at]
        variance = row @ table.covariance @ row + 2 * across * factor + own * factor**2
        log_events = log_events + sign * interval_z(protocol) * np.sqrt(variance + table.spread**2)
    return np.asarray(np.exp(log_events), dtype=np.float64)
