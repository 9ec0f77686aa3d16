"""When each classical method would close growth plates for a wanted correction, side by side."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from pathway.courses.course import PLATES
from pathway.growth import classical_methods, growth_curve
from pathway.growth.reference_curves import GrowthCurve, plural
from pathway.growth.skeletal_age import SkeletalReading
from pathway.protocol.model import Protocol
from pathway.worksheets.case import Case

BOTH = "both"


Ages = tuple[float | None, float | None, float | None]
Amounts = tuple[float | None, float | None, float | None]
"""For the distal femur, the proximal tibia and both."""


@dataclass(frozen=True, slots=True)
class TimingOpinion:
    """One method's age at operation (years) for the distal femur, the proximal tibia and both; None: it has none.

    `taken` is what the method lets a closure at an age take (mm, None where it says nothing). `skeletal` says that the
    method was published by skeletal age: `ages` and the age of `taken` are then in those years.
    """

    name: str
    ages: Ages
    sources: tuple[str, ...]
    taken: Callable[[float], Amounts]
    skeletal: bool = False

    def by_calendar(self, reading: SkeletalReading | None) -> Ages:
        """Return the calendar ages, the offset between skeletal and calendar age as read and taken to stay.

        Without a reading the two ages are taken as one.
        """
        if reading is None or not self.skeletal:
            return self.ages
        first, second, third = (None if age is None else max(age - reading.offset_years, 0.0) for age in self.ages)
        return first, second, third

    def taken_at(self, age_years: float, reading: SkeletalReading | None) -> Amounts:
        """Return what a closure at a calendar age would take (mm), the offset as in `by_calendar`."""
        ahead = reading.offset_years if reading is not None and self.skeletal else 0.0
        return self.taken(max(age_years + ahead, 0.0))

    def age_used(self, reading: SkeletalReading | None) -> str:
        """Return which age the method is worked out with, where it is not the one it was published with saying so."""
        if not self.skeletal:
            return "calendar"
        return "calendar, not skeletal" if reading is None else "skeletal"


@dataclass(frozen=True, slots=True)
class MatureLegs:
    """Femur and tibia of the long leg at maturity, mm."""

    femur_mm: float
    tibia_mm: float


def opinions_on_timing(case: Case, correction_mm: float) -> tuple[TimingOpinion, ...]:
    """Return each method's ages for a correction, in the years, skeletal or calendar, in which it was published.

    Mature lengths are the middle of the child's projection; the case needs a posterior.
    """
    if case.posterior is None:
        return ()
    curve = growth_curve(case.protocol, case.record.child.sex, "table")
    middle = case.posterior.central()
    legs = MatureLegs(*(float(middle.bones[bone].mature_mm[0]) for bone in PLATES))
    return (
        by_multiplier(case.protocol, curve, legs, correction_mm),
        by_straight_line(case.protocol, curve, legs, correction_mm),
        by_growth_remaining(case.protocol, curve, correction_mm),
        by_annual_rule(case.protocol, curve, correction_mm),
    )


def by_multiplier(protocol: Protocol, curve: GrowthCurve, legs: MatureLegs, mm: float) -> TimingOpinion:
    """Return the multiplier method's ages: one plate by its share of the bone, both on one day."""
    femur, tibia = (protocol.number(f"{plate}_share") for plate in PLATES.values())
    ages = (
        classical_methods.arrest_by_multiplier(mm, legs.femur_mm, femur, curve).age_years,
        classical_methods.arrest_by_multiplier(mm, legs.tibia_mm, tibia, curve).age_years,
        classical_methods.arrest_both_by_multiplier(mm, legs.femur_mm, legs.tibia_mm, (femur, tibia), curve).age_years,
    )

    def taken(age: float) -> Amounts:
        each = [
            classical_methods.taken_by_multiplier(age, mm, share, curve)
            for mm, share in ((legs.femur_mm, femur), (legs.tibia_mm, tibia))
        ]
        return each[0], each[1], sum(each)

    return TimingOpinion("multiplier method", ages, ("paley_2000_multiplier",), taken)


def by_straight_line(protocol: Protocol, curve: GrowthCurve, legs: MatureLegs, mm: float) -> TimingOpinion:
    """Return the straight-line method's ages: the leg at operation lacks correction / (1 - slope) of the mature one."""
    table, whole = protocol.table("straight_line_slopes"), legs.femur_mm + legs.tibia_mm
    slopes = dict(zip((row[0] for row in table.rows), table.column("slope_left"), strict=True))
    ages = []
    for plates in (*PLATES.values(), BOTH):
        at_operation = whole - mm / (1 - slopes[plates])
        fraction = at_operation / whole
        possible = fraction >= float(curve.fraction(0.0))
        ages.append(float(curve.age_at_fraction(fraction)) if possible else None)
    sources = ("moseley_1977_straight_line",)

    def taken(age: float) -> Amounts:
        each = [
            classical_methods.taken_by_straight_line(age, whole, slopes[plates], curve)
            for plates in (*PLATES.values(), BOTH)
        ]
        return each[0], each[1], each[2]

    return TimingOpinion("straight-line method", (ages[0], ages[1], ages[2]), sources, taken, skeletal=True)


def by_growth_remaining(protocol: Protocol, curve: GrowthCurve, mm: float) -> TimingOpinion:
    """Return the ages of the growth-remaining method for the mean child, from the 1964 lengths."""
    table = protocol.table(f"growth_remaining_derived_{plural(curve.sex)}")
    years = table.column("age_years")
    columns = [[10 * cm for cm in table.column(plates)] for plates in (*PLATES.values(), BOTH)]
    ages = [classical_methods.arrest_by_growth_remaining(mm, years, column).age_years for column in columns]
    sources = ("anderson_1964_lengths", "anderson_1963_growth_remaining")
    name = "growth-remaining method, mean child"

    def taken(age: float) -> Amounts:
        each = [classical_methods.taken_by_growth_remaining(age, years, column) for column in columns]
        return each[0], each[1], each[2]

    return TimingOpinion(name, (ages[0], ages[1], ages[2]), sources, taken, skeletal=True)


def by_annual_rule(protocol: Protocol, curve: GrowthCurve, mm: float) -> TimingOpinion:
    """Return the ages of the annual-growth rule; its 9 and 6 mm a year were measured per skeletal year."""
    end = protocol.number(f"annual_rule_end_{plural(curve.sex)}_years")
    femur, tibia = (protocol.number(f"annual_rule_{plate}_mm") for plate in PLATES.values())
    ages = [
        classical_methods.arrest_by_annual_rule(mm, yearly, end).age_years for yearly in (femur, tibia, femur + tibia)
    ]
    sources = ("menelaus_1966_annual_rule", "birch_2021_growth")

    def taken(age: float) -> Amounts:
        each = [classical_methods.taken_by_annual_rule(age, yearly, end) for yearly in (femur, tibia, femur + tibia)]
        return each[0], each[1], each[2]

    return TimingOpinion("annual-growth rule", (ages[0], ages[1], ages[2]), sources, taken, skeletal=True)
