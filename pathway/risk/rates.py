"""Expected events of lengthenings: for a typical team, with the range of a new one, and which of two plans has fewer.

Several steps of one child have the same team: their events add up under the same spread between series.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from pathway.protocol.harm import OUTCOMES, Harm
from pathway.protocol.model import Protocol
from pathway.risk.fitting import interval_z
from pathway.risk.pooled import Pooled, in_step, pooled
from pathway.risk.steps import Step, check_outcome, check_step, why_outside
from pathway.risk.terms import COEFFICIENTS, FRAMES, SLOPE, Floats, behind, covariates, slope_factor

Order = Literal["fewer", "more", "not decided by published counts"]
SLOPES = ("risk_slope_flat", "risk_slope_fitted", "risk_slope_steep")
HUNDRED = 100.0
ROUNDING = 1e-8
FEMUR_ONLY = ("hip",)
"""Outcomes that only a lengthening of the femur can have."""


@dataclass(frozen=True, slots=True)
class Rate:
    """Expected events per hundred: of a typical team (`centre`) and the range of a new team (`low` to `high`).

    `shown` is false where published counts must not be told as a number; then the numbers are None and `why_not`
    says why. `series` and `counts` are what stands behind the outcome by itself. `note`: what else must be said.
    """

    outcome: str
    centre: float | None
    low: float | None
    high: float | None
    per: str
    series: int
    counts: tuple[Harm, ...]
    shown: bool
    why_not: str = ""
    note: str = ""


def rate(protocol: Protocol, outcome: str, step: Step | Sequence[Step]) -> Rate:
    """Return the expected events of one lengthening per 100 lengthenings, or of several together per 100 children.

    Raises Refused for an unknown outcome or a step that is no lengthening, ValueError for no step at all.
    """
    check_outcome(outcome)
    steps = (step,) if isinstance(step, Step) else tuple(step)
    for item in steps:
        check_step(item)
    counts = behind(protocol, outcome)
    series = len({item.series for item in counts})
    per = "100 lengthenings" if len(steps) == 1 else "100 children"
    if why := next((why for item in steps if (why := why_not(protocol, outcome, item))), ""):
        return Rate(outcome, None, None, None, per, series, counts, False, why)
    table = pooled(protocol)
    centre, inside = log_events(protocol, table, outcome, steps)
    reach = interval_z(protocol) * float(np.sqrt(inside + table.spread**2))
    note = "" if in_step(protocol) else "the pooled rates were made without the clinic's own changes to the counts"
    low, middle, high = (HUNDRED * float(np.exp(centre + sign * reach)) for sign in (-1, 0, 1))
    return Rate(outcome, middle, low, high, per, series, counts, True, note=note)


def why_not(protocol: Protocol, outcome: str, step: Step) -> str:
    """Return in words why no rate of an outcome may be told for a step, or ""."""
    counts = behind(protocol, outcome)
    if why := why_outside(protocol, step):
        return why
    if outcome in FEMUR_ONLY and step.bone == "tibia":
        return "only a lengthening of the femur was counted"
    if len({item.series for item in counts}) < protocol.number("risk_series_for_a_rate"):
        return "seen, rate not known"
    if not any(item.bone in (step.bone, "both") for item in counts):
        return f"seen, rate not known: no series of the {step.bone} counted it"
    if not any(_same_device(item, step) for item in counts):
        return "seen, rate not known: no series with this device counted it"
    if outcome == "hip" and step.hip_cover == "unknown":
        return "it depends on the cover of the hip, which has not been measured"
    return ""


def _same_device(item: Harm, step: Step) -> bool:
    return item.device in FRAMES if step.device in FRAMES else item.device == step.device


def log_events(protocol: Protocol, table: Pooled, outcome: str, steps: Sequence[Step]) -> tuple[float, float]:
    """Return the logarithm of the summed events of steps, and its variance without the spread between series.

    Raises ValueError for no step at all.
    """
    total, gradient = _sum(protocol, table, outcome, steps)
    return total, float(gradient @ table.covariance @ gradient)


def order_of(
    protocol: Protocol, steps_a: Sequence[Step], steps_b: Sequence[Step], outcomes: Sequence[str] | None = None
) -> Order:
    """Return whether plan a has `fewer` or `more` expected events than plan b, or that counts do not decide it.

    It is decided only if every outcome asked for (all that may be told for every step, by default) agrees at each
    slope of the rules, each time with the whole range of the ratio on one side. Plans beyond the reach of the
    published counts are not decided. Raises Refused, ValueError like `rate`.
    """
    for name in outcomes or ():
        check_outcome(name)
    steps = (*steps_a, *steps_b)
    for item in steps:
        check_step(item)
    told = [name for name in outcomes or OUTCOMES if not any(why_not(protocol, name, item) for item in steps)]
    if not told or (outcomes is not None and len(told) < len(outcomes)):
        return "not decided by published counts"
    signs = {_sign(protocol, protocol.number(slope), name, steps_a, steps_b) for slope in SLOPES for name in told}
    if signs == {-1}:
        return "fewer"
    return "more" if signs == {1} else "not decided by published counts"


def _sign(protocol: Protocol, slope: float, outcome: str, one: Sequence[Step], other: Sequence[Step]) -> int:
    """Return -1 or 1 where one plan surely has fewer or more events than another at a slope, else 0."""
    table = pooled(protocol).at_slope(slope)
    (first, by_first), (second, by_second) = (_sum(protocol, table, outcome, steps) for steps in (one, other))
    gradient = by_first - by_second
    reach = interval_z(protocol) * float(np.sqrt(max(float(gradient @ table.covariance @ gradient), 0.0)))
    apart = first - second
    # Two plans of the same steps differ by rounding alone.
    return 0 if abs(apart) <= max(reach, ROUNDING) else int(np.sign(apart))


def _sum(protocol: Protocol, table: Pooled, outcome: str, steps: Sequence[Step]) -> tuple[float, Floats]:
    """Return the logarithm of the summed events of steps and its derivative by the coefficients."""
    if not steps:
        raise ValueError("no step: there is nothing to expect events of")
    rows = np.array([_row(protocol, outcome, step) for step in steps])
    logs = rows @ table.mean
    total = float(np.logaddexp.reduce(logs))
    return total, np.asarray(np.exp(logs - total) @ rows, dtype=np.float64)


def _row(protocol: Protocol, outcome: str, step: Step) -> Floats:
    row = covariates(outcome, step.mix(protocol), protocol)
    row[COEFFICIENTS.index(SLOPE)] = float(slope_factor(step.percent, protocol))
    return row
