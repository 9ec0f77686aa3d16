"""Children for the tests of growth: built from a few numbers."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

from pathway.days import day_at_age
from pathway.record import Child, Measurement, Record, Sex, Side, Visit

BORN = datetime.date(2015, 1, 1)
FILM = "standing_full_length_film"

Lengths = tuple[float, float, float, float]
"""Short femur, long femur, short tibia, long tibia, mm."""


def of_side(finding: str, side: Side, value: float) -> Measurement:
    return Measurement(finding=finding, side=side, value=value, method=FILM)


def visit(age: float, measurements: Sequence[Measurement], skeletal_age: float | None = None) -> Visit:
    day = day_at_age(BORN, age)
    read = {} if skeletal_age is None else {"skeletal_age_years": skeletal_age, "skeletal_age_method": "hand_atlas"}
    return Visit(date=day, method=FILM, measurements=tuple(measurements), **read)


def bones(age: float, lengths: Lengths, *, short: Side = "left", skeletal_age: float | None = None) -> Visit:
    """Return a visit with all four bones measured."""
    long: Side = "right" if short == "left" else "left"
    names = ("femur_length_mm", "femur_length_mm", "tibia_length_mm", "tibia_length_mm")
    sides: tuple[Side, ...] = (short, long, short, long)
    found = [of_side(name, side, mm) for name, side, mm in zip(names, sides, lengths, strict=True)]
    return visit(age, found, skeletal_age)


def difference(age: float, mm: float, *, short: Side = "left") -> Visit:
    """Return a visit at which only the discrepancy was measured."""
    return visit(age, [of_side("leg_length_discrepancy_mm", short, mm)])


def child(
    *visits: Visit,
    sex: Sex = "boy",
    short: Side = "left",
    diagnosis: str = "congenital_femoral_deficiency",
    pattern: str | None = None,
) -> Record:
    who = Child(
        id="test",
        date_of_birth=BORN,
        sex=sex,
        affected_side=short,
        diagnosis=diagnosis,
        growth_pattern=pattern,
    )
    return Record(child=who, visits=visits)


def at(age: float) -> datetime.date:
    return day_at_age(BORN, age)
