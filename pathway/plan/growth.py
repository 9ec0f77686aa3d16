"""The growth projection as the plan keeps it. Lengths in mm, ages in decimal years."""

from __future__ import annotations

from pathway.days import Day
from pathway.record import Frozen


class Quantiles(Frozen):
    """A value with its spread: 5, 25, 50, 75 and 95 of 100."""

    p05: float
    p25: float
    p50: float
    p75: float
    p95: float


class AgePoint(Frozen):
    """The discrepancy at one age: natural course, and with the recommended course.

    `long_leg_mm` and its fellows are the central projection with the plan, from which amounts and limits are
    worked out; None where the bone is not known.
    """

    age_years: float
    date: Day
    discrepancy_mm: Quantiles
    with_plan_mm: Quantiles
    long_leg_mm: float
    short_leg_mm: float
    short_femur_mm: float | None = None
    short_tibia_mm: float | None = None
    long_femur_mm: float | None = None
    long_tibia_mm: float | None = None


class MeasuredPoint(Frozen):
    """A discrepancy as measured at a visit."""

    age_years: float
    date: Day
    discrepancy_mm: float


class Maturity(Frozen):
    """Natural course at skeletal maturity."""

    discrepancy_mm: Quantiles
    long_leg_mm: Quantiles
    short_leg_mm: Quantiles


class MethodOpinion(Frozen):
    """A published method's answer, for comparison; None where its inputs are missing (`note` says which)."""

    name: str
    discrepancy_at_maturity_mm: float | None
    note: str
    source: str


class GrowthPart(Frozen):
    """The growth projection; None values where nothing was measured.

    `next_visit` says how much a visit to come would narrow the band: whether it pays to measure again first.
    """

    mature_age_years: float
    maturity_date: Day
    curve: str
    basis: str
    at_maturity: Maturity | None
    by_age: tuple[AgePoint, ...] = ()
    measured: tuple[MeasuredPoint, ...] = ()
    methods: tuple[MethodOpinion, ...] = ()
    notes: tuple[str, ...] = ()
    adult_height_mm: Quantiles | None = None
    next_visit: str = ""
