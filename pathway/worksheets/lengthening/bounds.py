"""What one child allows: days on which an operation can be, and what a bone may measure that nobody measured."""

from __future__ import annotations

import datetime

import numpy as np

from pathway.days import add_months, age_years
from pathway.growth.bones.lengths import lengths
from pathway.protocol.model import Bone
from pathway.worksheets.case import Case, Inputs
from pathway.worksheets.sheet import Kind, problem

KIND: Kind = "lengthening"
ENDS = (0.05, 0.95)
"""Quantiles of what is told as 90 of 100."""


def check_operation_day(case: Case, inputs: Inputs) -> None:
    """Raise Refused where the operation is before the child's birth or after the last year planned.

    A recorded operation is as it is.
    """
    day, item = inputs.day("operation_on"), inputs.item("operation_on")
    if item.origin == "visit":
        return
    born, last = case.record.child.date_of_birth, _last_day(case)
    if born < day <= last:
        return
    wrong = "before the child was born" if day <= born else "after the last year planned"
    expected = f"a day after the birth on {born} and up to {last}"
    raise problem(KIND, "operation_on", f"{day}, {wrong}", expected, "correct it with --set operation_on=YYYY-MM-DD")


def _last_day(case: Case) -> datetime.date:
    """Return the last day that the plan looks at; without a plan the birthday up to which the sheet is for children."""
    plan = case.plan
    if plan is None or not plan.growth.by_age:
        years = case.protocol.number("lengthening_oldest_years")
        return max(add_months(case.record.child.date_of_birth, round(12 * years)), case.on)
    staged = [day for stage in plan.stages for day in (stage.date, stage.end_date) if day is not None]
    return max(plan.growth.by_age[-1].date, plan.growth.maturity_date, *staged)


def bone_span(case: Case, inputs: Inputs, bone: Bone) -> tuple[float, float] | None:
    """Return between which lengths (mm) the bone of the short leg lies the day before the operation, 90 of 100.

    From the growth of children like this one; None where nothing of the child was ever measured.
    """
    posterior = case.posterior
    if posterior is None:
        return None
    before = inputs.day("operation_on") - datetime.timedelta(days=1)
    age = np.array([max(age_years(case.record.child.date_of_birth, before), 0.0)])
    draws = posterior.bones[bone]
    _, short = lengths(draws, posterior.curve, posterior.known_steps, posterior.plates, age)
    low, high = np.quantile(short[:, 0], ENDS)
    return (float(low), float(high)) if low > 0 else None
